"""Movement checks from an ordinary phone clip.

`check_clip` is loaded on first use, so that importing the package stays light.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from motioncheck.pipeline import check_clip

__version__ = "0.1.0"
__all__ = ["__version__", "check_clip"]


def __getattr__(name: str) -> Any:
    if name == "check_clip":
        from motioncheck.pipeline import check_clip

        return check_clip
    raise AttributeError(name)
