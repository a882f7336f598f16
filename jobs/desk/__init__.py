"""Where the rooms are put together for a person: the day at a glance, the search box, the counter, the whole card, the
bench, the hand-over. It has no tables; what it shows and does is read and written by the rooms below."""
