"""The page and the health endpoints, served by a thread of the daemon."""
