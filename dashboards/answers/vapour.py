"""What spraying would do to a room's air: asked of a finish on the shelf or of a sheet as typed, without storing it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from dashboards import (
    data_sheet,
    finish_cases,
    finish_entries,
    finish_now,
    ingredients,
    room_figures,
    vapour_figures,
    vapour_words,
)
from dashboards.answers import vapour_rooms
from dashboards.answers.boards import thing_of
from dashboards.answers.records import Answer, Asked, Line, Question, nothing_known, options
from dashboards.finish_now import FinishNow
from dashboards.finish_versions import worse_flag
from dashboards.pages.finish_forms import KNOWN_CHOICES, RUNNING_CHOICES, SHEET_CHOICES
from dashboards.pages.forms import Field, Option
from dashboards.share_words import amount
from dashboards.vapour_records import Held, Vapour
from dashboards.vapour_words import Told
from kiln.mixtures import Basis, Mixture
from kiln.room_air import COLDEST_C, WARMEST_C, Room, Spraying
from shared.errors import BadInput
from shared.store.records import ExtractionKnown
from shared.tables import FIRE, Region
from shared.units import S_PER_MINUTE, STANDARD_PA, kg_m3_from_kg_l, l_from_m3, m3_from_l

OF_SHEET = ("ingredients", "density_kg_l", "flash_point_c", "dry_after_h")  # what a finish on the shelf has already
ROOM_OWN = "Empty: as the room has it."
SHEET_OWN = "Section 9."
FLAGS = ("isocyanate", "formaldehyde")
FLAG_CHOICES = (Option("", "as the shelf has it; else not read yet"), *SHEET_CHOICES)
WORSE_COUNTS = "Of a finish on the shelf the worse counts: what was entered of it, or this."
MIXED = "3 to 10; it is reckoned with 10 whatever is entered."

FIELDS = (
    Field("finish", "A finish on the shelf", "finish"),
    Field(
        "ingredients",
        "or what section 3 of a data sheet says",
        "lines",
        spoken="ingredients",
        hint="One a line: name or CAS number, then its share in %. Water and solids too. In the terminal: ; between.",
    ),
    Field("basis", "Shares are", "choice", options=options(Basis), spoken="shares"),
    Field("density_kg_l", "Density", "number", unit="kg/l", spoken="density", hint=SHEET_OWN),
    Field("flash_point_c", "Flash point", "signed", unit="°C", spoken="flash point", hint=SHEET_OWN),
    Field("dry_after_h", "Dry to handle after", spoken="dry to handle", hint="With its unit: 45 min or 2 h."),
    Field("isocyanate", "Isocyanate", "choice", options=FLAG_CHOICES, spoken="isocyanate", hint=WORSE_COUNTS),
    Field("formaldehyde", "Formaldehyde given off", "choice", options=FLAG_CHOICES, spoken="formaldehyde"),
    Field("litres", "Amount", "number", unit="litres", spoken="amount", hint="Thinner included."),
    Field("minutes", "in", "number", unit="min", spoken="minutes of spraying"),
    Field("place", "A finish room of the yard", "place"),
    Field("volume", "Room", unit="m³", spoken=room_figures.VOLUME, hint=f"Or 4.2 x 3 x 2.5 m. {ROOM_OWN}"),
    Field("extraction", "Air drawn out", unit="m³/h", spoken=room_figures.EXTRACTION, hint=f"{ROOM_OWN} Or none."),
    Field("extraction_known", "which is", "choice", options=KNOWN_CHOICES, spoken="how it is known"),
    Field("extraction_on", "Extraction", "choice", options=RUNNING_CHOICES, spoken="extraction running"),
    Field(
        "mixing_factor",
        "Mixing factor",
        "number",
        spoken="mixing factor",
        hint=MIXED,
    ),
    Field("temperature_c", "Air", "signed", unit="°C", spoken="temperature", hint=f"{ROOM_OWN} Or 20 °C."),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    finish = _finish(asked)
    mixture = _mixture(asked) if finish is None else _of_shelf(asked, finish)
    litres = asked.number("litres", "amount", *finish_entries.LITRES, "litres")
    minutes = asked.number("minutes", "minutes of spraying", *finish_entries.MINUTES, "min")
    dry_after_s = _dry_after_s(asked) if finish is None else finish.fact.dry_after_s
    running = asked.text("extraction_on").lower() == "yes"
    spraying = Spraying(0.0, minutes * S_PER_MINUTE, m3_from_l(litres), mixture, dry_after_s, running)
    region = asked.yard.region if asked.yard is not None else Region.LOWEST
    place = vapour_rooms.place_of(asked)
    there = vapour_rooms.there_of(asked, place)
    cases = there.with_asked(_room(asked, there.own), spraying)
    case, latest = finish_cases.worst_of(cases, region)
    reckoned = f"{amount(case.room.volume_m3)} m³, {vapour_figures.whose(region)}"
    assumed = (*there.told, *_room_words(case.room, there.own), vapour_words.limits_of(region))
    before = there.already
    told = Told((*before.sprayed, _words(spraying, finish)), assumed, latest=latest)
    told = replace(told, first=before.first, aside=before.aside, reckoned=reckoned, asked_ms=there.asked_ms)
    return _answer(there.no_better(vapour_words.shown(case.room, case.sprayings, region, told)))


def _finish(asked: Asked) -> FinishNow | None:
    """The finish on the shelf that was chosen; what its sheet says cannot be typed over."""
    if not asked.given("finish"):
        return None
    typed_too = next((key for key in OF_SHEET if asked.given(key)), None)
    if typed_too is not None:
        spoken = next(one.spoken for one in FIELDS if one.key == typed_too)
        raise BadInput(spoken, asked.text(typed_too), "empty where a finish of the shelf is chosen: its sheet counts")
    if asked.yard is None:
        raise BadInput("finish", asked.text("finish"), "a finish on the shelf of a yard")
    with asked.yard.store.reading() as connection:
        return thing_of(finish_now.finishes(connection), "finish", asked.typed)  # type: ignore[no-any-return]


def _mixture(asked: Asked) -> Mixture:
    typed = str(asked.typed.get("ingredients") or "")
    lines = typed if "\n" in typed else typed.replace(";", "\n")
    density = asked.maybe("density_kg_l", "density", *data_sheet.DENSITY_KG_L, "kg/l")
    return Mixture(
        ingredients.parse_ingredients(lines),
        asked.choice("basis", "shares", Basis, Basis.MASS),
        None if density is None else kg_m3_from_kg_l(density),
        _says(asked, "isocyanate"),
        _says(asked, "formaldehyde"),
        asked.maybe("flash_point_c", "flash point", *data_sheet.FLASH_POINT_C, "°C"),
    )


def _of_shelf(asked: Asked, finish: FinishNow) -> Mixture:
    """A finish of the shelf; where what is typed of its sheet is worse than what was entered, that counts."""
    made = finish_now.mixture_of(finish.fact)
    typed = {key: _says(asked, key) for key in FLAGS if asked.given(key)}
    return replace(made, **{key: worse_flag((getattr(made, key), said)) for key, said in typed.items()})


def _says(asked: Asked, key: str) -> bool | None:
    return data_sheet.says(key, asked.text(key))


def _dry_after_s(asked: Asked) -> float | None:
    return data_sheet.dry_after_s(asked.text("dry_after_h"))


def _room(asked: Asked, own: Room | None) -> Room:
    """The room asked about: a finish room's own figures, and what was typed over them."""
    if own is None and not asked.given("volume"):
        raise BadInput(room_figures.VOLUME, "", room_figures.VOLUME_ACCEPTED)
    usual_c = finish_now.USUAL_ROOM_C if own is None else own.temperature_c
    t_c = asked.or_else("temperature_c", "temperature", COLDEST_C, WARMEST_C, "°C", usual_c)
    room = own or Room(1.0, None, FIRE["mixing_factor_high"].value, t_c, STANDARD_PA)
    room = replace(room, temperature_c=t_c)
    if asked.given("volume"):
        room = replace(room, volume_m3=room_figures.volume_m3(asked.text("volume")))
    if asked.given("extraction"):
        measured = asked.choice("extraction_known", "how it is known", ExtractionKnown, ExtractionKnown.UNSAID)
        drawn = room_figures.extraction_m3_s(asked.text("extraction"))
        said = measured is ExtractionKnown.MEASURED and (own is None or own.extraction_measured)
        room = replace(room, extraction_m3_s=drawn, extraction_measured=said)
    if asked.given("mixing_factor"):
        room = replace(room, mixing_factor=room_figures.mixing_factor(asked.text("mixing_factor")))
    if own is not None:
        vapour_rooms.refuse_larger(room, own)
    return room


def _room_words(room: Room, own: Room | None) -> tuple[str, ...]:
    drawn = "no extraction known, counted as none"
    if room.extraction_m3_s is not None:
        how = "measured" if room.extraction_measured else "not measured"
        drawn = f"extraction {room_figures.extraction_told(room.extraction_m3_s)}, {how}"
    warm = "" if own is not None else ", as asked"
    return (
        f"{amount(room.volume_m3)} m³; {drawn}; {room.temperature_c:.1f} °C{warm}.",
        vapour_words.mixing(),
    )


def _words(one: Spraying, finish: FinishNow | None) -> str:
    name = "the finish" if finish is None else finish.fact.name
    extraction = "with the extraction on" if one.extraction_on else "without extraction"
    minutes = one.duration_s / S_PER_MINUTE
    return f"{amount(l_from_m3(one.liquid_m3))} litres of {name} in {amount(minutes)} min, {extraction}; not stored."


def _answer(made: Vapour) -> Answer:
    """The same as the page shows, line by line, for the terminal."""
    figures = "; ".join(f"{one.name.lower()} {one.value}" for one in made.figures)
    refused = "" if made.refused is None else made.refused.sentence
    lines = (*made.over, *made.over_each, *made.cant_say, *made.not_shown)
    return Answer(
        headline=made.word,
        band=figures or "no figure is given",
        sentence=refused or made.headline,
        lines=(*(_line(one) for one in lines), *made.amounts, *made.air),
        flags=tuple(dict.fromkeys(_flags(made))),
        next_step=made.not_before,
        formula=made.formula,
        bases=made.bases,
        validity="An evenly mixed room at 0 to 40 °C, with the figures that were given; what is unknown is not in it.",
        topics=("finish-spray",),
        beside=made.beside,
        vapour=made,
    )


def _flags(made: Vapour) -> Iterator[str]:
    yield from (*made.first, *made.doing, *made.unknowns, *made.cautions, *made.more_cautions)
    yield from (*made.sprayed, *made.aside, *made.assumed)
    if made.air_why:
        yield made.air_why


def _line(one: Held) -> Line:
    note = "; ".join(part for part in (one.beside, one.limit) if part)
    return Line(f"{one.word} · {one.name}", one.figure or one.sentence, note)


QUESTION = Question(
    name="vapour",
    title="Vapour of a finish in a room",
    lead="An amount of finish in a room with its extraction, held against explosive limits and what may be breathed.",
    fields=FIELDS,
    answer=answer,
    fill=nothing_known,
    wanted=("finish", "ingredients", "litres"),
    defers=True,
)
