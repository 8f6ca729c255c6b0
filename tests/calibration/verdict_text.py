"""The text of docs/verdicts.md between its tables."""

from __future__ import annotations

from verdict_boards import BOARD, EVERY_DAYS, OUT_DAYS, PLATE, ROOM_DAYS, ROOM_OFF_PCT

FEW = 30  # fewer in a bin are shown, and not held against the goal


def _to(days: tuple[int, int]) -> str:
    return f"{days[0]} to {days[1]}"


def _above(off: tuple[float, float]) -> str:
    return f"{off[0]:.0f} ± {off[1]:.0f} %RH"


TEXT_BEFORE = f"""# Whether the verdicts are honest, over synthetic yards

`make bench` writes this page; `python tests/calibration/verdict_run.py --lots 30` makes a smaller one in some minutes.

A verdict is to be acted on: READY must mean that the wood is fit as often as is stated, and must still be said, soon
after it is true. The boards here are invented, as those of [calibration.md](calibration.md) are, and dry by the same
other model: a section in two dimensions, other laws of diffusion, hysteresis with a play, a film that wanders. All
figures hold **in our synthetic truth**. The scores are made by the code in `tests/calibration/verdict_*.py`.

**The yards**: every fourth lot is of three plates, 3 to 6 mm thick, of which the first two are taken for twins; six
tenths of the variance between boards is common to a lot. Half of these lots are fresh-sawn, half re-sawn with a
gradient that nobody entered. The other lots are one board each, 20 to 40 mm thick. Plates lie {_to(OUT_DAYS[PLATE])}
days outdoors, boards {_to(OUT_DAYS[BOARD])}, then in a bench room that is kept for their use (plates: brace, glue,
finish; boards: machine, glue), and rather damper: by the owner's own hygrometer it lies {_above(ROOM_OFF_PCT)} above
the use's air (one standard deviation), with season, day, weather and slow swings. That hygrometer, and another
outdoors, misread by a constant (standard deviation 3 %RH, or 1 for the six in ten that are checked). So the air that
the product is given is not the true one.

**Measured**: the mass every 2 to 5 days (boards: 4 to 11), on scales wrong by 0.05 to 0.7 g (boards: 0.5 to 5 g); a
section dried in the oven at the start of three in ten, a coupon later of two in ten; of six boards in ten pins every
twenty days, at one depth or two; of four plates in ten a bag test every ten days, with a hygrometer good to 1 %RH. What
the wood does while it is sealed in the bag is left out.

**Truly fit** is a board that meets every condition of its use as `uses.csv` and `limits.csv` have them, by the truth's
own figures: the middle of its section beside where that very board rests in the use's air, by its own isotherm and
hysteresis; its own core and shell; what it moved beyond its own companion, a piece of the same wood that has always
lain in that room; and that companion on the days past and to come, in the air that was and came.

**Asked** on fixed days in the room, never at a share of the true time: plates every {EVERY_DAYS[PLATE]} days for
{ROOM_DAYS[PLATE]} days, boards every {EVERY_DAYS[BOARD]} for {ROOM_DAYS[BOARD]}. Place, air and projection are in order
throughout, so CAN'T SAY is only said for want of evidence. Plates of a lot teach one another as in a yard."""

BINS_TEXT = f"""Of all boards and days by the chance stated that the board meets every condition of which something is
known. *±* is one binomial standard error, as if all were by themselves; days of one board and boards of one lot are
not: *± by lots* takes each lot as one. A bin of fewer than {FEW} is not held against the goal."""

LINE_TEXT = """What is stated of moisture, of the room and of all conditions together is not the share of members that
meet them, but how often such a share has held: its log-odds are taken along one line (Cox 1958, from memory), whose two
numbers stand in `chance.csv`. Level and steadiness are stated as the share is, for there it is as good, or better;
nothing together is stated surer than its least part; and where no member's moisture suits, nought is said, for no such
board was fit. Members themselves, dates and the chances of days to come are left as they are.

**The line holds for synthetic yards.** It takes out what this truth and the product's priors make of one another, above
all near rest; real wood may lie on either side of it. Boards of a lot share their air and what its hygrometer misreads,
so that of seventy lots alone a bin may lie ten points off either way: the errors by lots are those to look at.

This run, on lots that the line was not fitted on:"""

CROSSWISE_TEXT = """The lots that it was fitted on (`tests/calibration/held.csv`), in two halves of whole lots, each
judged by the line that was fitted on the other half:"""

UNION_TEXT = """Both, so that no lot is judged by a line that was fitted on it; the goal is held against these:"""

STANDS_TEXT = """Middle member less truth: above nought it is said to be wetter than it is. *Spread*: one standard
deviation of that. A piece at rest in the room is the companion by which steadiness and room are judged."""

READY_TEXT = """READY, or of a finish WOOD DRY ENOUGH. *Overshoot*: how much wetter than the use takes its middle truly
was, at worst and for 95 in 100."""

DELAY_TEXT = f"""From the first day on which a board was truly fit, day by day, to the first asking on which it was
called so; askings are {EVERY_DAYS[PLATE]} and {EVERY_DAYS[BOARD]} days apart, so half of that is no fault of the
verdict. *Not yet*: not on any of the days on which it was asked. READY wants more than a chance: with a hygrometer that
was never checked no plate and no glue-up is ever called READY, nor is wood that was never measured but by weight
before it has come to rest."""

SETS_TEXT = """The joint chance, as often as such a share of members in which all pieces are fit has held, times that
the twins agree, against whether all pieces were truly fit and the twins truly within 0.5 %MC of one another in how far
each is from its own rest."""

BOOKED_TEXT = """On every asking the work was taken to be booked so many days ahead. STOP was right where the middle of
the wood was then truly wetter than the use takes."""

FOUND_TEXT = """## What was found on the way

Written on 2026-11-27 of two runs: A, before commit 65cafc7, of 84 boards and plates, 756 verdicts; B, of 65cafc7 and of
315, 2835 verdicts, both with shares stated as they were. The run above is a later one, of other lots.

**Mended: pins took the place of a better answer.** Pins at two depths tell what core and shell differ by to ± 2.4 %MC,
and 1 or 2 are allowed; where they were read they were all that the condition was judged by, and no board could become
READY while they counted. Of 130 verdicts with such pins in A 35 stated 0.35; of these it held 89 times in 100. Since
65cafc7 a board whose core is told without them is judged by its own profile, into which its pins went already: on these
the Brier score of that condition fell from 0.33 to 0.03, and that of being fit, over all of A, from 0.117 to 0.074.

**Open: a companion does not learn from its board, and the room is called wrong too surely.** What the model misses of
a board is put down to the board alone: a plate of which a bag test tells that it rests well above what the hygrometer
leads to expect has a companion that rests where the hygrometer says. So the companion's 80 % band holds 54 % (plates)
and 69 % (boards) in B, and of boards' rooms that were given less than 0.3 nearly half were right: boards wait for a
room that is fit. Were that part of the lapse that a board at rest has given to the companion too, the band would hold
70 % for plates instead of 44 and 83 % for boards instead of 66 in A, and the Brier score of the room fall from 0.120 to
0.073 (boards: 0.042 to 0.038); but fewer of the truly fit would be sure (53 % instead of 58), and the bins from 0.5 to
0.9 would lie 2 to 4 points further off. Not every figure is better, so it was left.

**Mended: chances in the middle were too low.** Boards near rest are told as wetter than they are, within 3 %MC of it
by 0.19 ± 0.04 %MC in B, and their 80 % band holds 91 %. It is the hysteresis of this truth that brings its wood lower
than the product's: over 30 boards (60 verdicts) that error is +0.2 %MC with it and -0.4 %MC in a truth without any.
Real wood may lie on either side; so no moisture was shifted: what is stated of a share of members is. Other ways were
looked at over the first 209 to 270 lots, each fitted on half and judged on the other. A step function and a line of
odds alone were no better in the bins; one line for each condition, the joint chance lifted by as much as its least
condition, had a lesser logarithmic loss (0.215 instead of 0.225), but left the bin from 0.5 to 0.7 nine points off,
and would have given 16 in 100 to a room that no member finds right, however wrong. Level and steadiness, put on the
line, would lie 15 to 30 points too high in the middle.

**Open: the delay hangs on evidence more than on chances.** With half the lapse at rest (`lapse_mc_pct` 0.25) more of
the truly fit are sure (64 instead of 56 %, 294 verdicts) and none wrongly; but that figure belongs to the dates too,
and can only be changed with [calibration.md](calibration.md).

**Open: of the conditions alone moisture is now stated too high in the middle, the room still too low.** One line
serves both, and serves all of them together: by the shares themselves moisture was 5 to 23 points too low there in B;
along the line it is about 10 too high. A room that hardly any member finds right is right more often than is said. Two
lines would mend the first and promise too much to rooms that are plainly wrong.

**Open: sets say too little.** In B twins lay 0.06 %MC apart (median), and 99 times in 100 within the 0.5 that is
allowed; where neither weights nor bags tell, the chance that they agree is stated as if each were known by itself, and
that chance is a factor of the joint one, which no line mends. Of sets that were called READY in B every one was fit.
Since then no chance is stated of a set of which nothing can be said."""
