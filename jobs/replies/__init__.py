"""The customer's link: an estimate opened without an account, answered line by line, and what is kept of the answer."""
