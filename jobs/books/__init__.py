"""What the other rooms know of money and value, as postings to accounts; months that are closed."""
