"""How what is said of movement comes about: a board, a joint, and a piece at its own plateau."""

from __future__ import annotations

from dashboards.pages.method import Method

MOVEMENT = (
    Method(
        "promise",
        "How far it will move",
        "change = size · (S(now) − S(then)) / (100 − S(now)),  S(M) = S₀ · (1 − M/FSP)",
        (
            "Then is where this wood comes to rest in that air: drying wood on the printed curve, gaining wood at 0.85 "
            "of it, and what lies between may stay as it is. S₀ across the width is S_T cos²θ + S_R sin²θ, θ the angle "
            "of the rings to the face by its cut: flat-sawn 0, rift 45, quarter-sawn 90 degrees.",
            "The driest and the wettest week are those with the least and the greatest mean EMC among all weeks of the "
            "last three years that have four fifths of their hours on record where the board is now, told as if they "
            "lasted. No thick board comes to rest in a week.",
            "The band holds 8 in 10: today's moisture, where it comes to rest, and single boards about the table. Of "
            "halves that are joined the bands are added, as if both erred alike.",
        ),
        "Wood Handbook FPL-GTR-282, 2021, Equations 4-5 and 4-9; 0.85 from memory; houses: the table below",
    ),
    Method(
        "joint",
        "What two glued pieces want from each other",
        "mismatch = length · (change of a − change of b),  S along a line = S_L cos²φ + S_across sin²φ",
        (
            "φ is the angle of a piece's grain to the joint line. The believable boards of both projections are held "
            "against each other one by one, from today on through the coming year, as if glued today; moves that are "
            "planned are in it.",
            "Along the grain sound wood shrinks by 0.1 to 0.2 %. Of two leaves of one board four fifths of the "
            "variance of shrinkage is taken as shared.",
            "The pieces are taken as free: the glue holds them, and carries the mismatch as stress.",
        ),
        "small-strain transformation, our own application; Wood Handbook FPL-GTR-190, 2010, page 4-5",
    ),
    Method(
        "plateau",
        "A piece at its own plateau",
        "W = P − A · exp(−(t − t_last) / τ)",
        (
            "P is the mass to which its weigh-ins lead, A how far the newest lies from it. Neither its oven-dry mass "
            "nor its wood has a say, but the slowest time constant τ, which is taken as known to 30 %. Before, what a "
            "piece at rest would weigh more or less for the swing of the air is taken off.",
            "It takes three weigh-ins within three time constants, over one at least. Each errs by its scale and by "
            "handling; where even a piece that stands still could not be told so, the scale that could tell it is "
            "named: 0.2 % of a piece of 60 g is 0.12 g.",
            "EN 13183-1, ISO 13061-1 and ASTM D4442 have rules of constant mass too. They are for small sections in "
            "an oven at 103 °C, and by them a thick board in a shed would stand still every day.",
        ),
        "weighted least squares; a slab's last exponential: Crank, The Mathematics of Diffusion, 1975, section 4.3",
    ),
)
