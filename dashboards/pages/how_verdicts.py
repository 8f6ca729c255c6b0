"""How verdicts come about: words, conditions, the companion at rest, twins, what harms, what to measure next."""

from __future__ import annotations

from dashboards.pages.method import Method
from kiln import calibrated

VERDICTS = (
    Method(
        "verdict",
        "READY, WOOD DRY ENOUGH, WAIT, STOP, CAN'T SAY",
        f"log-odds of P(fit) = {calibrated.INTERCEPT:g} + {calibrated.SLOPE:g} · log-odds of (believable boards that "
        "meet every condition) / (all of them)",
        (
            "STOP: it is being harmed now, or a use that is booked or begun would take it too wet. CAN'T SAY: what is "
            "known is too old, missing, or at odds with itself. READY: every condition of the use is met, all of them "
            "together with a chance of at least 9 in 10, the wood itself was measured within a month and the air is "
            "heard. WAIT: everything else. Of wood to be finished WOOD DRY ENOUGH is said instead of READY: whether "
            "a room may be sprayed in is another question, and not judged by this program.",
            "Each condition is held against each believable board, and what counts is how many meet all of them at "
            "once: a condition's own chance only explains. Each board is judged against where that very board would "
            "rest in the use's air: one whose wood holds more water at the same humidity is allowed more.",
            "A share of believable boards is not yet a chance. Over hundreds of invented boards wood was fit more "
            "often than that share, by the line above; so moisture, room and all together are stated along it. Core "
            "and shell, and steadiness, are stated as the share is. Nothing together is stated surer than its least "
            "part, and where no believable board's moisture suits, nought is said. Real wood may lie on either side.",
            "A set is fit when all its pieces are, together, and its twins agree; pieces of one lot are drawn alike in "
            "what the lot shares. A stack is judged by its worst board.",
            "Every limit can be set by the yard; the page of limits shows who did and why. A person may go ahead all "
            "the same: with a name and a reason, which then stand beside the verdict and on the record.",
        ),
        "our choice; how well the stated chances hold for invented boards is told in docs/verdicts.md",
    ),
    Method(
        "conditions",
        "The conditions of a use",
        "own drift = change over the steady days − change of a piece at rest over the same days",
        (
            "Moisture near what the use's air would hold this piece at; core and shell close; steady: what it moved "
            "beyond what the air's own swing explains, by weighings fine enough to see it (1 % of a 60 g piece is "
            "about half a gram); for gluing, bracing and finishing a room that has been right for days and stays so, "
            "told by a hygrometer that was checked and is in date; water from glue or bending given its days to leave.",
            "The room is not judged by what the hygrometer says this minute but by where a piece like this one would "
            "be by now, had it always lain there.",
        ),
        "our choice; limits with their status stand in the table below",
    ),
    Method(
        "companion",
        "A piece at rest here",
        "",
        (
            "For each believable board a companion of the same wood, thickness and film is carried through the record "
            "of the place where the board lies now, from a start at rest, and on through a week of air like that of "
            "earlier times. It is late as the wood is late. What the companion did over a week is the air's doing; the "
            "rest of a change in weight is the board's own.",
        ),
        "the same equations as every projection",
    ),
    Method(
        "twins",
        "Twins: each at its own resting mass",
        "W / (1 + swing) = P − A · exp(−(t − t_last) / τ)",
        (
            "By its weigh-ins alone: P is the mass to which they lead, A how far the newest stands from it, τ how fast "
            "the piece settles, the swing what the air does to its companion. Twins that lie in one air agree when "
            "each stands within 0.2 % of its own P with 9 chances in 10, or when their bag tests agree; else the "
            "model's figures decide as far as they can. By weight 0.2 % can be told; by humidity it cannot: 0.5 % MC "
            "is about 3 %RH, which is what an unchecked hygrometer is off.",
        ),
        "last exponential of a slab: Crank, The Mathematics of Diffusion, 1975, section 4.3; limits ours",
    ),
    Method(
        "harms",
        "What may harm it",
        "stretch = S_T / M_f · [(M_f − M_surface) − mean(M_f − M)],  index = stretch / 2 %",
        (
            "Surface checks: how far the surface would have shrunk beyond the board as a whole, over the strain at "
            "which wood parts at once. Stress is not used: in a linear model it saturates however hard the drying.",
            "Mould: an index from 0 to 6 (1: growth begins, 3: to be seen), grown and declining with the humidity at "
            "the board's own faces, which a wet board keeps near 100 % whatever the room says.",
            "Collapse: wetter than its cells can hold, or lighter than its kind, at any temperature; heat with a "
            "saturated core; or a caliper that finds more shrinkage than the profile accounts for.",
            "Blue stain: the hours in which sapwood is damp and mild enough for it. Water gained: a weigh-in heavier "
            "than the last beyond what scale and air explain; hours at 99 %RH are called fog or dew, never rain.",
            "Where no limit was found, none is drawn. “Under the limit” is not “out of danger”: look at the wood.",
        ),
        "strain limit: Langrish and Oliver, from memory; mould: Hukka and Viitanen 1999, Ojanen and others 2010; the "
        "tables below name the rest",
    ),
    Method(
        "tells",
        "What to measure next",
        "left = V − C_qy (C_yy + R)⁻¹ C_yq",
        (
            "Each believable board foretells what a measurement would read of it. From how that goes with what is "
            "asked, and from how far such a measurement errs, follows how much of the not-knowing it would leave, "
            "whatever it reads. The best is proposed, or one that is easier and nearly as good.",
        ),
        "conditional variance of a normal vector: Anderson, An Introduction to Multivariate Statistical Analysis, "
        "2003, theorem 2.5.1, from memory",
    ),
)
