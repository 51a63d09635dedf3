"""The report that a browser opens."""
