"""Pages and routes of the outbox. Its rules live in shop/trail, which lies below the kits of pages and API."""
