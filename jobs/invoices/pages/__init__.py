"""Staff pages of invoices, by subject."""
