"""Reads across the rooms: `find` (search box and scanner), `today` (the first page), `card` (one whole card), `bench`."""
