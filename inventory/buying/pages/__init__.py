"""Staff pages of buying, by subject."""
