"""The local page: a server on one's own machine, its guards, its protocol, and the pages that a browser shows."""
