"""HTML of the page as pure functions of plans: text in, text out, nothing here knows of a browser."""
