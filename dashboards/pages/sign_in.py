"""The page that asks for a password."""

from __future__ import annotations

from dataclasses import dataclass, field

from dashboards.pages.forms import Field, Form


@dataclass(frozen=True)
class SignInPage:
    """Everything that sign_in.html may use."""

    now: str = field(metadata={"help": "What this browser may do already; empty: nothing"})
    form: Form = field(metadata={"help": "Asks for the password, and remembers where to go on"})


def sign_in_page(now: str, to: str, error: str) -> SignInPage:
    """Return the page; ``to`` is the path that was asked for, ``error`` why the last try failed."""
    asked = Field("password", "Password", "password", needed=True, error=error)
    form = Form("sign-in", "", "/sign-in", "Sign in", (Field("to", "", "hidden", value=to), asked), open=True)
    return SignInPage(now, form)
