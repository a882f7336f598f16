"""Putting it together: settings, URLs, server entry points, error pages, start-up commands. May import every room."""
