"""What the shop's own bookings say about standard hours, and how far a sum of stages may go."""
