"""How what is said of the time ahead comes about: dates, the air's floor, the lapse, lots, history, options."""

from __future__ import annotations

from dashboards.pages.method import Method

AHEAD = (
    Method(
        "dates",
        "Dates by chance",
        "P(fit by t) = (believable boards fit by t) / (their number + 1)",
        (
            "Each believable board is fit on the first day from which it keeps to the use's limits for three days "
            "running. “8 in 10 by 3 June” says that of ten such boards eight are fit by then. Not within a year: the "
            "look-ahead ends there, and chances end with it.",
            "Part of the band goes when the air turns out one way or another, part never: how much oven-dry wood is "
            "in the board and how much water that wood holds are known no better than they were measured. Near the end "
            "water goes as exp(−t/τ), so an error dM in moisture is τ · dM / (M − EMC) in days. The ± that is told of "
            "the measurements alone is what of the believable boards' dates goes with these two, along a straight line "
            "through all of them; it holds 8 in 10.",
            "Chances are of this model in air like that of earlier times; a winter that the record never saw is drawn "
            "wide. How often such dates held for invented boards is told in docs/calibration.md.",
        ),
        "counting, as for any sample: of n in order truth lies below the k-th with a chance of k/(n + 1); the ± is our "
        "own",
    ),
    Method(
        "floor",
        "What the air holds it at, and its floor",
        "floor = the least of all 30-day means of EMC · this piece's own scale, over the year to come",
        (
            "Wood follows neither a day's air nor a week's: a mean of 30 days is taken. Below the driest of them no "
            "time in this air brings it, and under a roof outdoors that is often above what a use wants: not in this "
            "air. It is told of where the board is now, whatever move is planned.",
            "A board within 1 % MC of what the next month holds it at is said to rest. Its band carries the "
            "hygrometer's error, the air of other years and how much water this very piece holds.",
            "A thick board does not reach the floor within its month: the floor is what the air could do at best, not "
            "a forecast.",
        ),
        "EMC: Wood Handbook FPL-GTR-282, 2021, Equation 4-5; 30 days and 1 % are our choice",
    ),
    Method(
        "lapse",
        "The lapse: what the model misses",
        "correlation = (1 + a) · exp(−a),  a = √3 · |t − t′| / τ",
        (
            "No board is the model's board. Each believable board strays from the model by an amount that comes and "
            "goes within weeks: one part grows with the moisture in the wood, one stays with a board at rest and lasts "
            "longer. Their sizes and τ stand below under Drying.",
            "It never takes more than half of the water that there is. Finished boards make it larger or smaller for "
            "the whole yard: were the errors as believed, squared misfits would average one.",
            "It is alike through the thickness, so it says nothing of shell against core.",
        ),
        "Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, equation 4.17; sizes: our judgement, "
        "held against invented boards whose truth is known",
    ),
    Method(
        "lot",
        "What other boards teach",
        "unknown = expected + the yard's part + the lot's part + the board's own, each normal",
        (
            "Boards of one stack or set, of the same wood and origin, share part of what is not known of each: a "
            "measured board narrows what is believed of those beside it that nobody weighed. Boards that were closed "
            "with the outcome “finished” teach all later ones of their wood.",
            "How much of each unknown is shared stands below under Lots. These shares were not measured: they are our "
            "judgement, and a board's own measurements soon outweigh it.",
            "It is undone by undoing the outcome, or left out altogether by the setting learn_from_finished.",
        ),
        "Gelman and others, Bayesian Data Analysis, 3rd ed. 2013, chapter 5; shares: our judgement",
    ),
    Method(
        "history",
        "What was said, and what came",
        "",
        (
            "For each of the newest weigh-ins the board is worked out again from what had been measured and logged by "
            "that day and no more, by today's rules: so it is not what stood on the page then, but what these rules "
            "would have said. Plans of that time are left out.",
            "The next weight is foretold with a band of 8 in 10; two in ten should fall outside it. Of a board that "
            "was cut in between there is nothing to compare.",
            "Fewer believable boards are carried along than for the projection, so its dates are coarser by some days.",
        ),
        "our choice",
    ),
    Method(
        "options",
        "What could be done",
        "",
        (
            "The believable boards of the projection are carried on from today, each in its own air, along another "
            "way: left here, moved to each other place with logged air (now, and on the day of those tried that makes "
            "it fit soonest without harm), in a fan's air, or sawn in two.",
            "Greatest loss is that of the first three days after; beside it stands what the wood is known to survive, "
            "where it is above the moisture at which that counts, or that no limit was found. A loss within a limit "
            "is not shown to be harmless.",
            "Its chances are those of the model: a place whose air was logged for a month only is known as badly here "
            "as anywhere.",
        ),
        "limits: the table below; days tried and the fan's 1 m/s are our choice",
    ),
)
