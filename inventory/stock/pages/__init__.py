"""Staff pages of the stock room."""
