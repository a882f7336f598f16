"""Staff pages of hours, by subject."""
