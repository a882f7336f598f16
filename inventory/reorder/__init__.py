"""What to order, how much and why: demand history, forecasts, proposals (orders themselves are buying's)."""
