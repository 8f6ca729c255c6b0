"""Oven-drying: a section's moisture, the oven-dry mass of its board, and whether it has come to constant mass."""

from __future__ import annotations

from dataclasses import dataclass, replace

from dashboards import display
from dashboards.answers.records import Answer, Asked, Basis, Line, Question, bases_of, nothing_known
from dashboards.pages.forms import Field, Option
from kiln import oven_dry
from kiln.records import Z80
from shared.errors import BadInput
from shared.tables.instruments import Criterion, criteria
from shared.units import S_PER_HOUR, g_from_kg, kg_from_g

SECTION_G = (0.1, 100_000.0)
MOST_WEIGHINGS = 40
SAME_SHARE = 0.001  # an oven-dry mass this much above the last weighing is not that of the dry section; judgement

FIELDS = (
    Field("wet_g", "Section when cut", "number", unit="g", spoken="wet mass of the section"),
    Field("dry_g", "and oven-dry", "number", unit="g", spoken="oven-dry mass of the section"),
    Field("other_wet_g", "Second section when cut", "number", unit="g", spoken="wet mass of the second section"),
    Field("other_dry_g", "and oven-dry", "number", unit="g", spoken="oven-dry mass of the second section"),
    Field("board_g", "Board between them, that day", "number", unit="g", spoken="mass of the board"),
    Field("board_now_g", "Board now", "number", unit="g", spoken="mass of the board now"),
    Field("hours", "Weighed at hours", spoken="hours", hint="In the oven, such as 20 23 26 29."),
    Field("masses_g", "Masses then", spoken="masses", hint="As many, in g, such as 62.1 61.6 61.5 61.5."),
    Field(
        "criterion",
        "Constant mass after",
        "choice",
        options=tuple(Option(one.name, f"{one.name}: {one.label}") for one in criteria().values()),
        spoken="criterion",
    ),
    Field(
        "balance_g",
        "The balance shows steps of",
        "number",
        unit="g",
        spoken="step of the balance",
        hint="Empty: as written.",
    ),
    Field(
        "hottest_c",
        "Hottest it ever was",
        "number",
        unit="°C",
        spoken="hottest temperature",
        hint="For wood that was baked.",
    ),
)


def answer(asked: Asked) -> Answer:
    """Answer it; raises BadInput naming what is missing or impossible."""
    if not asked.given("wet_g", "dry_g"):
        return _constant(asked)
    sections = [_section(asked, "wet_g", "dry_g", "section")]
    if asked.given("other_wet_g", "other_dry_g"):
        sections.append(_section(asked, "other_wet_g", "other_dry_g", "second section"))
    board_kg = kg_from_g(
        asked.or_else("board_g", "mass of the board", 0.1, 2_000_000.0, "g", g_from_kg(sections[0].wet_mass_kg))
    )
    sample = oven_dry.sample_board(board_kg, sections)
    now = _now(asked, sample)
    mc, error = now or (sample.mc_pct, sample.error_mc_pct)
    dry = _dry(asked)
    return Answer(
        headline=f"{mc:.1f} % MC" if dry.shown else f"at least {mc:.1f} % MC: not shown to be dry",
        band=f"± {Z80 * error:.1f} holds eight in ten{', now' if now else ', when it was cut'}{dry.band}",
        sentence=oven_dry.WEIGHT_LOSS_IS_NOT_MC,
        lines=(*_section_lines(sections), *_board_lines(asked, sample, board_kg), *_constant_lines(asked)),
        flags=(*dry.flags, *sample.flags, *_baked(asked)),
        next_step=dry.next_step,
        formula=(
            "MC = 100 (wet − oven-dry) / oven-dry",
            "oven-dry mass of the board = its mass that day / (1 + MC/100); MC now = 100 (mass now − that) / that",
        ),
        bases=(
            Basis("Wood Handbook FPL-GTR-282, 2021, chapter 4 (definition of moisture content)", "published"),
            *bases_of("oven_dry", "section_scatter_share", "balance_error_share", "baked_above_c"),
            *_rule_basis(asked),
        ),
        validity="Sections of the full width and thickness, 25 mm long, cut well away from the ends, weighed at once.",
        topics=("oven-drying",),
    )


@dataclass(frozen=True)
class Dry:
    """Whether the section was shown to be dry when it was weighed as oven-dry, and what follows."""

    shown: bool
    band: str
    flags: tuple[str, ...]
    next_step: str


ENTER_IT = "Enter the section at its board: the projection is refitted to it."
ON_TOP = "; what water was left in the section comes on top"


def _dry(asked: Asked) -> Dry:
    """Hold the oven-dry mass against the weighings in the oven: without constant mass it is an upper end."""
    if not asked.given("hours", "masses_g"):
        hours = f"{_rule(asked).interval_s / S_PER_HOUR:g} h"
        step = f"Go on drying and weigh again in {hours}; give hours and masses here, until they stay the same."
        return Dry(False, ON_TOP, ("No weighings show that it had stopped losing.",), step)
    told = _series(asked)
    if not told.reached:
        return Dry(False, ON_TOP, (told.sentence,), _next(told))
    last_g, dry_g = _numbers(asked, "masses_g", "g")[-1], asked.number("dry_g", "oven-dry mass", *SECTION_G, "g")
    if dry_g > last_g * (1.0 + SAME_SHARE):
        flag = f"The section was taken as oven-dry at {dry_g:g} g, but weighed {last_g:g} g last."
        return Dry(False, ON_TOP, (flag,), f"Put in {last_g:g} g as its oven-dry mass.")
    return Dry(True, "", (), ENTER_IT)


def _section(asked: Asked, wet_key: str, dry_key: str, name: str) -> oven_dry.Section:
    dry = asked.number(dry_key, f"oven-dry mass of the {name}", *SECTION_G, "g")
    wet = asked.number(wet_key, f"wet mass of the {name}", dry, 6.0 * dry, "g, from its oven-dry mass to six times it")
    return oven_dry.Section(kg_from_g(wet), kg_from_g(dry))


def _now(asked: Asked, sample: oven_dry.SampleBoard) -> tuple[float, float] | None:
    mass = asked.maybe("board_now_g", "mass of the board now", 0.1, 2_000_000.0, "g")
    if mass is None:
        return None
    if not asked.given("board_g"):
        raise BadInput("mass of the board", "", "what the board weighed on the day its sections were cut")
    return sample.mc_now_pct(kg_from_g(mass))


def _section_lines(sections: list[oven_dry.Section]) -> list[Line]:
    lines = []
    for number, section in enumerate(sections, start=1):
        mc, error = oven_dry.section_mc_pct(section)
        loss = float(oven_dry.weight_loss_pct(section.wet_mass_kg, section.dry_mass_kg))
        note = f"it lost {loss:.1f} % of its weight, which is not its moisture content"
        lines.append(Line(f"Section {number}", f"{mc:.1f} ± {Z80 * error:.1f} % MC", note))
    return lines


def _board_lines(asked: Asked, sample: oven_dry.SampleBoard, board_kg: float) -> list[Line]:
    if not asked.given("board_g"):
        return []
    dry, error = display.mass(sample.oven_dry_mass_kg), display.mass(Z80 * sample.oven_dry_error_kg)
    when = f"{sample.mc_pct:.1f} ± {Z80 * sample.error_mc_pct:.1f} % MC"
    return [
        Line(
            "Oven-dry mass of the board", f"{dry} ± {error}", f"of {display.mass(board_kg)} when the sections were cut"
        ),
        Line("The board then", when),
    ]


def _constant(asked: Asked) -> Answer:
    told = _series(asked)
    return Answer(
        headline="constant mass" if told.reached else "not yet",
        band=f"after {told.criterion}",
        sentence=told.sentence,
        lines=tuple(_constant_lines(asked)),
        flags=_baked(asked),
        next_step=_next(told),
        formula=(
            "loss between the last weighing and the newest one an interval earlier, against the standard's limit",
        ),
        bases=(Basis(told.source, told.status),),
        validity="103 ± 2 °C, weighed hot from the oven or cooled over a desiccant.",
        topics=("oven-drying",),
    )


def _next(told: oven_dry.ConstantMass) -> str:
    if told.reached:
        return ""
    if oven_dry.TOO_COARSE in told.sentence:
        return "Weigh it to finer steps, or dry a bigger piece: with these it can never be shown."
    interval_h = criteria()[told.criterion].interval_s / S_PER_HOUR
    return f"Go on drying and weigh again in {interval_h:g} h."


def _series(asked: Asked) -> oven_dry.ConstantMass:
    hours, masses = _numbers(asked, "hours", "h"), _numbers(asked, "masses_g", "g")
    step_g = asked.or_else("balance_g", "step of the balance", 0.0001, 1000.0, "g", _step_written_g(asked))
    seconds, kg = [hour * S_PER_HOUR for hour in hours], [kg_from_g(mass) for mass in masses]
    told = oven_dry.constant_mass(seconds, kg, asked.text("criterion") or next(iter(criteria())), kg_from_g(step_g))
    if asked.given("balance_g") or oven_dry.TOO_COARSE not in told.sentence:
        return told
    # Nobody named the balance: it is the figures that do not tell.
    return replace(told, sentence=f"Not shown: figures to {step_g:g} g are {oven_dry.TOO_COARSE}.")


def _step_written_g(asked: Asked) -> float:
    """Return the step to which masses were written, the finest of them: what is known of a balance nobody named."""
    words = asked.text("masses_g").replace(";", " ").replace(",", ".").split()
    return float(10.0 ** -max((len(one.partition(".")[2]) for one in words), default=0))


def _rule(asked: Asked) -> Criterion:
    """Return the criterion that was chosen, or the first of the list."""
    name = asked.text("criterion") or next(iter(criteria()))
    if name not in criteria():
        raise BadInput("criterion", name, ", ".join(criteria()))
    return criteria()[name]


def _constant_lines(asked: Asked) -> list[Line]:
    if not asked.given("hours", "masses_g"):
        return []
    told = _series(asked)
    return [Line("Constant mass", "reached" if told.reached else "not yet", f"{told.sentence} {told.criterion}.")]


def _numbers(asked: Asked, key: str, unit: str) -> list[float]:
    words = asked.text(key).replace(";", " ").split()
    if not words:
        raise BadInput("hours" if key == "hours" else "masses", "", f"numbers in {unit}, separated by spaces")
    if len(words) > MOST_WEIGHINGS:
        raise BadInput(key, f"{len(words)} numbers", f"at most {MOST_WEIGHINGS}")
    found = []
    for word in words:
        try:
            found.append(float(word.replace(",", ".")))
        except ValueError:
            raise BadInput(
                "hours" if key == "hours" else "masses", word, f"numbers in {unit}, separated by spaces"
            ) from None
    return found


def _baked(asked: Asked) -> tuple[str, ...]:
    hottest = asked.maybe("hottest_c", "hottest temperature", 0.0, 300.0, "°C")
    return () if hottest is None else oven_dry.baked_flags(hottest, dry_mass_taken_before=True)


def _rule_basis(asked: Asked) -> tuple[Basis, ...]:
    if not asked.given("hours", "masses_g"):
        return ()
    told = _series(asked)
    return (Basis(told.source, told.status),)


QUESTION = Question(
    name="oven-dry",
    title="Oven-dry and sample boards",
    lead="A section's moisture, its board's oven-dry mass and moisture now, and whether the oven has done its work.",
    fields=FIELDS,
    answer=answer,
    fill=nothing_known,
    wanted=("wet_g", "dry_g", "hours", "masses_g"),
    topics=("oven-drying",),
)
