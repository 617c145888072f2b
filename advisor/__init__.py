"""Follows rod-pumped wells from their readings and advises one change at a time; it never operates equipment."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from advisor.config.load import load_config
    from advisor.core import Advisor

__version__ = "0.1.0"
__all__ = ["Advisor", "__version__", "load_config"]


def __getattr__(name: str) -> Any:
    """The library's two names, imported when first asked for: the command line starts without them."""
    if name == "Advisor":
        from advisor.core import Advisor

        return Advisor
    if name == "load_config":
        from advisor.config.load import load_config

        return load_config
    raise AttributeError(f"module 'advisor' has no attribute {name!r}")
