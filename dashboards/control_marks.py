"""The three words of what can hurt someone, as they are drawn and written: there is no fourth, and none has a tick."""

from __future__ import annotations

from markupsafe import Markup, escape

from dashboards import marks
from kiln.control import Control
from kiln.records import Word

KEYS = {Control.OVER: "over", Control.CANT_SAY: "cant-say", Control.NOT_SHOWN: "not-shown"}
WORDS = {one: one.value.upper() for one in Control}
_DRAWN = {
    # A solid block that has risen through a line.
    Control.OVER: '<path fill="currentColor" d="M26 6h48v88H26z"/>'
    f'<path stroke="{marks.PAPER}" stroke-width="15" d="M26 40h48"/>'
    '<path stroke="currentColor" stroke-width="9" d="M2 40h96"/>',
    # The broken outline with its question, as of a verdict.
    Control.CANT_SAY: marks.JOINTS[Word.CANT_SAY],
    # A frame within a frame, and nothing in it: nothing was shown.
    Control.NOT_SHOWN: '<path fill="none" stroke="currentColor" stroke-width="5" d="M8 12h84v76H8zM24 28h52v44H24z"/>',
}


def drawn(of: Control) -> Markup:
    """Return the mark of a word; its size and colour are set where it stands."""
    return Markup(
        f'<svg class="mark control-mark" viewBox="0 0 100 100" role="img" aria-label="{escape(WORDS[of])}">'
        f"{_DRAWN[of]}</svg>"
    )
