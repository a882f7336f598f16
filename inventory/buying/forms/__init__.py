"""What is filled in about buying. How a value is typed and read; whether it may be is for the actions."""
