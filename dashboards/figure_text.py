"""Words in a chart as they are: the chart's library reads some tags and entities in them, so names must not hold any.

Of tags that we write ourselves only two are left: the break of a line, and what a hover text says beside its box.
Bold is set by a font's weight: the tag would be drawn by a style attribute, which the policy for content refuses.
"""

from __future__ import annotations

import re
from typing import Any

FOREIGN_TAG = re.compile(r"<(?!br>|/?extra>)")


def plain(figure: Any) -> Any:
    """Return a figure in which no text is read as anything but text."""
    if isinstance(figure, str):
        return FOREIGN_TAG.sub("&lt;", figure.replace("&", "&amp;")) if "<" in figure or "&" in figure else figure
    if isinstance(figure, dict):
        return {key: plain(one) for key, one in figure.items()}
    return [plain(one) for one in figure] if isinstance(figure, list | tuple) else figure
