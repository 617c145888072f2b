"""Why the page cannot be served, in one line: where; what it is; what it must be."""

from __future__ import annotations


class WebError(ValueError):
    """The address cannot be listened on; ``where: what it is; what it must be``."""
