"""Who owns it and what it is: customers, machines, hours or distance run."""
