"""One finish on the shelf: what its data sheet says, what the tables hold of each ingredient, and what is unknown."""

from __future__ import annotations

from dataclasses import dataclass, field

from markupsafe import Markup

from dashboards import control_marks, display, finish_flags, finish_now, finish_versions, safety, substance_words
from dashboards.bases import Line
from dashboards.finish_now import FinishNow
from dashboards.pages import finish_forms
from dashboards.pages.forms import Attempt, Form, shown_again
from dashboards.pages.parts import Link
from dashboards.share_words import span
from dashboards.situation import Situation
from dashboards.substance_words import SubstanceView
from dashboards.vapour_records import Refused, refused_by
from dashboards.vapour_words import BESIDE
from kiln.control import Control
from kiln.mixtures import Ingredient, Mixture
from shared.store.records import FinishFact, PlaceKind

NO_SHEET = "no data sheet named"
NOT_PRINTED = "not entered"
SAYS = {True: "named", False: "the sheet names none", None: "the sheet has not been read for it"}
CLOSED = "Off the shelf. What was sprayed of it stays."
NOT_KNOWN = "What is not known counts as the worst, never as nothing."


@dataclass(frozen=True)
class IngredientView:
    """One ingredient of the finish."""

    share: str = field(metadata={"help": "Its share as the sheet gives it"})
    as_named: str = field(metadata={"help": "As the sheet names it; empty: as it is named here"})
    substance: SubstanceView = field(metadata={"help": "What the tables know of it"})


@dataclass(frozen=True)
class FinishProductPage:
    """Everything that finish_product.html may use."""

    name: str = field(metadata={"help": "What the finish is called"})
    code: str = field(metadata={"help": "Its code"})
    sheet: str = field(metadata={"help": "Name and date of its data sheet, or that none is named"})
    changed: tuple[str, ...] = field(metadata={"help": "Who took away what it told of, and that its sheet be read"})
    closed: str = field(metadata={"help": "That it is off the shelf; empty: it is on it"})
    first_line: str = field(metadata={"help": "What this page does not replace, said first"})
    last_line: str = field(metadata={"help": "The same, said last"})
    key: str = field(metadata={"help": "Its word as a style: cant-say, not-shown"})
    mark: Markup = field(metadata={"help": "The mark of that word"})
    word: str = field(metadata={"help": "CAN'T SAY or NOT SHOWN TO BE UNDER CONTROL"})
    headline: str = field(metadata={"help": "Why that word"})
    refused: Refused | None = field(metadata={"help": "Why no figure of vapour is given; None: some are"})
    unknowns: tuple[str, ...] = field(metadata={"help": "What is missing, a sentence each"})
    beside: tuple[str, ...] = field(metadata={"help": "What stands beside every figure"})
    ingredients: tuple[IngredientView, ...] = field(metadata={"help": "Each ingredient"})
    says: tuple[Line, ...] = field(metadata={"help": "What its data sheet says"})
    note: str = field(metadata={"help": "What somebody noted; empty: nothing"})
    ways: tuple[Link, ...] = field(metadata={"help": "Where it can be worked out, and entered as sprayed"})
    forms: tuple[Form, ...] = field(metadata={"help": "Correcting it, and taking it off the shelf"})
    cautions: dict[str, tuple[safety.Caution, ...]] = field(metadata={"help": "Reminders by topic"})


def finish_product_page(now: Situation, finish: FinishNow, by: str, attempt: Attempt | None) -> FinishProductPage:
    """Fill the page of one finish."""
    fact, mixture = finish.fact, finish_now.mixture_of(finish.fact)
    refused, unknowns = mixture.refusal(), mixture.unknowns()
    control = Control.CANT_SAY if refused or unknowns else Control.NOT_SHOWN
    on_shelf = (finish_forms.change_finish(finish, by), finish_forms.close_finish(_code(finish), by))
    forms = (finish_forms.reopen_finish(_code(finish), by),) if fact.closed else on_shelf
    return FinishProductPage(
        name=fact.name,
        code=_code(finish),
        sheet=fact.sheet or NO_SHEET,
        changed=_changed(now, finish),
        closed=CLOSED if fact.closed else "",
        first_line=safety.FIRST_LINE,
        last_line=safety.LAST_LINE,
        key=control_marks.KEYS[control],
        mark=control_marks.drawn(control),
        word=control_marks.WORDS[control],
        headline=_headline(mixture, control),
        refused=refused_by(refused),
        unknowns=unknowns,
        beside=BESIDE,
        ingredients=tuple(_ingredient(one) for one in mixture.ingredients),
        says=_says(fact),
        note=fact.note,
        ways=_ways(now, finish),
        forms=tuple(shown_again(form, attempt) for form in forms),
        cautions=safety.cautions("finish-spray", *(() if fact.self_heating is False else ("rags",)), "finishing-waste"),
    )


def _changed(now: Situation, finish: FinishNow) -> tuple[str, ...]:
    with now.store.reading() as connection:
        rows = finish_versions.every(connection, FinishFact, [finish.subject.id])
    return finish_flags.lines(rows, now.now_ms)


def _code(finish: FinishNow) -> str:
    return finish.subject.code


def _headline(mixture: Mixture, control: Control) -> str:
    if mixture.refusal() is not None:
        return "No amount of air is worked out for it."
    if control is Control.CANT_SAY:
        return NOT_KNOWN
    return "All that was typed in is in the tables. What its vapour comes to depends on how much is sprayed, and where."


def _ingredient(one: Ingredient) -> IngredientView:
    view = substance_words.view_of(one.name, one.substance)
    return IngredientView(_share(one), "" if view.name == one.name else one.name, view)


def _share(one: Ingredient) -> str:
    low, high = (f"{100.0 * value:.3g}" for value in (one.low, one.high))
    return f"{low} %" if low == high else f"{low}–{high} %"


def _says(fact: FinishFact) -> tuple[Line, ...]:
    """What the sheet says, and what nobody has entered of it."""

    def figure(value: float | None, unit: str, decimals: int = 1) -> str:
        return NOT_PRINTED if value is None else display.with_unit(value, unit, decimals)

    return (
        Line("Shares are", fact.basis.value),
        Line("Isocyanate", SAYS[fact.isocyanate]),
        Line("Formaldehyde given off", SAYS[fact.formaldehyde]),
        Line("Drying oil, whose rags heat themselves", SAYS[fact.self_heating]),
        Line("Density", figure(fact.density_kg_m3, "kg/m³", 0)),
        Line("Flash point", figure(fact.flash_point_c, "°C"), "mist burns below it: it takes no caution away"),
        Line("Dry to handle after", NOT_PRINTED if fact.dry_after_s is None else span(fact.dry_after_s)),
        Line("Surface above the dew point by", figure(fact.dew_gap_c, "C°")),
        Line("Air at most", figure(fact.rh_max_pct, "%RH", 0)),
        Line("Surface at least", figure(fact.surface_min_c, "°C")),
    )


def _ways(now: Situation, finish: FinishNow) -> tuple[Link, ...]:
    rooms = [one for one in now.open_places if one.fact.kind is PlaceKind.FINISH_ROOM]
    return (
        Link("Work out its vapour", f"/work-out/vapour?finish={_code(finish)}"),
        *(
            Link(f"Enter what was sprayed in: {one.fact.name}", f"/finish/room/{one.subject.code}#sprayed")
            for one in rooms
            if not finish.fact.closed
        ),
        Link("All finish rooms and the shelf", "/finish"),
    )
