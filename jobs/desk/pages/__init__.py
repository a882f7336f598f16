"""Staff pages of the desk, by subject."""
