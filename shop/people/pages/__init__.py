"""Staff pages of the people room: `signing` (in and out), `own`, `staff`, `tablet`."""
