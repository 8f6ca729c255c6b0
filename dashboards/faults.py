"""What is shown when a page cannot be made at all: it rests on nothing of ours, since something of ours has failed.

It says what a person in a workshop wants to know: that nothing entered or recorded was lost by it, and what to do.
"""

from __future__ import annotations

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from dashboards.guard import SECURITY_HEADERS

SENTENCE = (
    "This page could not be made: the fault is the program's, and is noted in its log. "
    "What was entered and recorded before stays as it was; if you were just entering something, look whether it is "
    "there before you enter it again."
)
NEXT = "Try again in a minute. If it stays so: `benchdry doctor` on the machine that runs this says more."
PAGE = f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Could not be made · Benchdry</title></head>
<body><main><h1>This page could not be made</h1><p>{SENTENCE}</p><p>{NEXT}</p>
<p><a href="">Try again</a> · <a href="/">To the yard</a></p></main></body></html>
"""


def add(app: FastAPI) -> None:
    """Answer a fault of the program's own with a sentence."""

    @app.exception_handler(Exception)
    def failed(request: Request, _error: Exception) -> Response:
        headers = {**SECURITY_HEADERS, "cache-control": "no-store"}
        if "html" not in request.headers.get("accept", "html"):
            return JSONResponse({"sentence": SENTENCE}, 500, headers)
        return HTMLResponse(PAGE, 500, headers)
