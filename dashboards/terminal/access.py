"""`benchdry password` and `benchdry link`: who may open the pages, and for what."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.table import Table
from rich.text import Text

from dashboards.terminal import home
from dashboards.terminal.home import HERE, FolderOption
from shared.errors import BadInput

if TYPE_CHECKING:
    from dashboards.roles import Role

console = Console()
link = typer.Typer(no_args_is_help=True, help="Read-only links: addresses that open the pages for looking.")


def password(
    role: Annotated[str, typer.Option("--role", help="look, record or manage; manage, if not said.")] = "manage",
    remove: Annotated[bool, typer.Option("--remove", help="Take the role's password away instead.")] = False,
    folder: FolderOption = HERE,
) -> None:
    """Set the password of the pages, or of a role; needed before they listen beyond this machine."""
    from dashboards.secret_file import Secrets

    wanted, here = _role(role), home.find(folder)
    secrets = Secrets(here.secrets_path)
    if remove:
        secrets.remove_password(wanted)
        _say(f"The password to {wanted.word} is taken away; whoever was signed in by it must sign in again.")
        return
    typed = typer.prompt(f"New password to {wanted.word}", hide_input=True, confirmation_prompt=True)
    secrets.set_password(typed, wanted)
    _say(f"The password to {wanted.word} is set; whoever was signed in by the one before must sign in again.")


@link.command("make")
def make(
    name: Annotated[str, typer.Option("--name", help="What it is for, such as: tablet on the nail.")],
    days: Annotated[int, typer.Option("--days", help="For how many days it holds.")] = 365,
    folder: FolderOption = HERE,
) -> None:
    """Make a link and print its address, this once."""
    from dashboards import auth, look_links

    here = home.find(folder)
    path = look_links.make(auth.Secrets(here.secrets_path), name, days, home.now_ms())
    address = f"{_begins(here)}{path}"
    _say(f"{address}\nFor a tablet on a nail: {address}?to=/?wall=1")
    _say("It is shown this once. Whoever has it may look, until `benchdry link revoke`.")


@link.command("list")
def listed(folder: FolderOption = HERE) -> None:
    """Show the links that hold, and when each was last used."""
    from dashboards import auth, display, look_links

    here, now_ms = home.find(folder), home.now_ms()
    found = look_links.listed(auth.Secrets(here.secrets_path), now_ms)
    if not found:
        _say("There is no link.")
        return
    shown = Table(box=None, padding=(0, 2, 0, 0))
    for column in ("link", "made", "holds until", "last used"):
        shown.add_column(column, overflow="fold")
    for one in found:
        used = "never" if one.used_ms is None else display.age(one.used_ms, now_ms)
        days = (display.day(at_ms, now_ms) for at_ms in (one.made_ms, one.until_ms))
        shown.add_row(*(Text(word) for word in (one.name, *days, used)))
    console.print(shown, highlight=False)


@link.command("revoke")
def revoke(name: Annotated[str, typer.Argument(help="Its name, as listed.")], folder: FolderOption = HERE) -> None:
    """End a link at once, and everything opened by it."""
    from dashboards import auth, look_links

    look_links.revoke(auth.Secrets(home.find(folder).secrets_path), name)
    _say(f"The link {name} is revoked.")


def _role(typed: str) -> Role:
    from dashboards.roles import ROLES

    words = {one.word: one for one in ROLES}
    if typed.strip().lower() not in words:
        raise BadInput("role", typed, "one of " + ", ".join(reversed(words)))
    return words[typed.strip().lower()]


def _begins(here: home.Home) -> str:
    """Return how an address of the pages begins, by the first name that the settings give them."""
    import socket

    chosen = here.settings
    named = chosen.web_names.split()
    everywhere = chosen.web_host in ("0.0.0.0", "::", "")
    host = named[0] if named else f"{socket.gethostname().lower()}.local" if everywhere else chosen.web_host
    host = f"[{host}]" if ":" in host else host
    scheme = "https" if chosen.web_cert_file else "http"
    return f"{scheme}://{host}:{chosen.web_port}"


def _say(sentence: str) -> None:
    console.print(sentence, highlight=False, soft_wrap=True, markup=False)
