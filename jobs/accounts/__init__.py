"""Customers' accounts: statements, what is overdue and for how long, letters about it, and storage of what isn't collected."""
