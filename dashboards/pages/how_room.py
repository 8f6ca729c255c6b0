"""How the figures of the finish room come about: vapour, its limits, the dew gap; dust, and what is lifted."""

from __future__ import annotations

from dashboards import finish_counted
from dashboards.pages.method import Method

ROOM = (
    Method(
        "vapour",
        "Vapour of a finish in a room",
        "V · dC/dt = G − (Q / K) · C",
        (
            "V is the room's volume, G the vapour that comes off in a second, Q the air that is taken out and made up, "
            "K the mixing factor, C the concentration. No room mixes at once: only Q / K of the air counts. K is 3 to "
            "10 in print. What is shown is reckoned with 10, whatever was entered; with the entered K it is told "
            "beside that only where it is over a limit too. Extraction that nobody measured is said to be so, and "
            "extraction that is not known counts as none. The room's temperature is taken up to the next whole "
            f"degree. {finish_counted.SAID} What was taken back sets the hour for a day.",
            "Two lines are drawn. As sprayed: everything evaporates as it leaves the gun. At most: every parcel of "
            "solvent stays in the film until the drying time of the data sheet has passed, and the air carries "
            "nothing of it away before. Whenever the vapour really comes off within that time, there is never more "
            "of it in the room at one moment than this line holds. A film that is sprayed over while it is wet counts "
            "as wet until what lies on it is dry; where no drying time is known, nothing ever leaves. No film counts "
            "as wet for less than half an hour, whatever the sheet says: that least time is ours. A limit counts "
            "as passed as soon as this line, rounded up as it is shown, comes to 100 % of it.",
            "A data sheet prints ranges: each hazard is reckoned at the worst composition that they allow. An "
            "ingredient that is not in the tables, a share that the sheet does not name, a solvent of which no limit "
            "was found: none counts as nought. What is known is then “at least”, and where that is not over a limit "
            "the answer is CAN'T SAY. So it is where nothing is entered that evaporates. What is at least so much is "
            "rounded down, what is at most so much is rounded up.",
            "All of this is a mean over the room. The plume of the gun and the air over wet work can exceed the "
            "explosive limit whatever the mean of the room is, and what the one who sprays breathes is not told by it.",
            "For finishes with isocyanate, for those that give off formaldehyde, for hardeners and second parts, which "
            "may be isocyanates, and for peroxides no figure is given at all: more air is no answer to them. They ask "
            "for air-fed breathing protection and licensed practice. Names with up to two wrong letters are caught.",
        ),
        "a box that is mixed less than at once: ACGIH, Industrial Ventilation, dilution of vapours, from memory; the "
        "line “at most” is ours",
    ),
    Method(
        "lower-explosive-limit",
        "Lower explosive limit (LEL), of a mixture too",
        "1 / LEL of the mixture = Σ xᵢ / LELᵢ",
        (
            "The least share of vapour in air that a flame runs through. xᵢ is the share of each vapour, by volume, "
            "among the vapours of the mixture (Le Chatelier's rule). Of each solvent the lowest LEL that was found in "
            "print counts; one that burns and has none listed is unknown, and so is the mixture.",
            "Held against 10 % of it, at which work is usually stopped, and 25 %, above which a space counts as a "
            "spray area. Neither is a line below which nothing burns: it is the mean of the room.",
            "A flash point is that of a pool of liquid. A mist of fine drops burns far below it; and a finish with a "
            "high flash point, or none found, gets no caution less for it.",
        ),
        "Le Chatelier's rule, from memory; 25 %: OSHA letter on 29 CFR 1910.107; 10 %: usual practice",
    ),
    Method(
        "limits-of-air",
        "Limits for what is breathed",
        "mg/m³ = ppm · M · p / (R · T);  together: Σ Cᵢ / Lᵢ",
        (
            "Countries and bodies print different limits, and change them: each stands with body, year and the kind of "
            "its average (of eight hours, of fifteen minutes, or never to be passed). Unless a region was chosen on "
            "the page of limits, or in the settings, the lowest listed anywhere counts. One that was withdrawn, or "
            "replaced by its body, counts only where there is no other. Where the region lists none, the lowest of all "
            "stands in; where no limit for fifteen minutes is listed, three times that for eight hours does (ACGIH's "
            "rule for excursions, from memory).",
            "NIOSH's means are for up to ten hours; they are held against eight here. Short limits of Germany are the "
            "mean of a shift times its excursion factor. A limit is held in mg/m³ (of ppm, at 25 °C) and in ppm at the "
            "room's temperature: the greater share counts.",
            "Solvents are taken to add up: the shares of their limits are summed. Sheets and local rules may know of "
            "worse.",
            "A limit that was read in a copy only, or is remembered, says “from memory”. Look into the current edition "
            "of the document itself.",
        ),
        "ideal gas; summing: ACGIH, TLVs and BEIs, appendix on mixtures, and 29 CFR 1910.1000(d)(2), from memory",
    ),
    Method(
        "air-needed",
        "Air needed to dilute",
        "Q = G · K / (M · limit · p / (R · T)) for health;  Q = G · K / (0.10 · M · LEL · B · p / (R · T)) for fire",
        (
            "The published formula of dilution: G in kg/s of each solvent, M its molar mass, K the mixing factor, B 1 "
            "up to 121 °C and 0.7 above. For mixtures the volumes of all solvents are added. For fire it is printed "
            "with a factor Sf (4 for 25 % of the LEL, 10 to 12 where air mixes badly) in place of K / 0.10; ours, "
            "which keeps to 10 % where air mixes as badly as K says, asks for more.",
            "No air is told against fire while what a wet film gives off late passes a tenth of the LEL: no rate of "
            "air while it is sprayed answers that.",
            "It is what the formula asks for, evenly and without pause, before a fan is chosen by somebody licensed "
            "for it. Extraction at the work, and not dilution, is what a spray space is built for.",
        ),
        "ACGIH, Industrial Ventilation, dilution for health and for fire, from memory",
    ),
    Method(
        "dew-gap",
        "How far a surface stands above the dew point",
        "gap = t of the surface − dew point of the air",
        (
            "What clouds a finish is the surface's temperature, and not the room's. It is read by hand (not older than "
            "an hour), or reckoned for a piece that came from another place and warms up: the slab warms from both "
            "faces through a film of air of 5 to 25 W/m²K. Without either only the room's own gap is told, which a "
            "cold piece does not have.",
            "The band carries the hygrometer's and the thermometer's error. Thinner that evaporates is said to cool "
            "the surface further; so each rule about a gap is held after the most of that cooling. A rule about the "
            "wet film is missed then; whether a data sheet means the film is rarely said, so nobody can say; a rule "
            "whose margin is that cooling, or that is about the bare surface, is not. Of several finishes sprayed in "
            "48 hours each data sheet counts.",
            "Published rules disagree fourfold. All are shown with their sources, and the data sheet of the finish "
            "comes before them. Of a rule that is not missed only the distance is told: it gives no leave. Whether the "
            "wood is dry enough is another judgement, and has its own word.",
            "Below 0 °C it is the frost point, the higher of the two. A surface more than 15 C° warmer than its air is "
            "not believed, and in air below 0 °C no word is better than CAN'T SAY.",
        ),
        "dew point: ASHRAE Handbook Fundamentals, 2017, chapter 1; the rules stand with theirs on the page",
    ),
    Method(
        "dust",
        "Dust in the air",
        "",
        (
            "Limits stand side by side by fraction (total, inhalable, respirable), body and year. No one of them is "
            "a default, and figures of different fractions are not comparable: inhalable samplers catch more than "
            "those for total dust.",
            "A particle sensor counts fine particles by light and misses most of the coarse dust of wood. What it said "
            "is shown with its age, and never held against a limit: a low figure says nothing.",
            "A wood that is not listed as harmful is not harmless: nobody has looked, or we have not read it.",
        ),
        "each limit with its own source on the page of dust",
    ),
    Method(
        "lifting",
        "What a board weighs before it is lifted",
        "m = m₀ · (1 + MC / 100)",
        (
            "By the last weigh-in and what the board has lost since; else by its sizes, the density of its wood and "
            "its moisture; and wood out of the water that was never weighed at the upper end, with its cells full.",
            "Figures at which public guides ask for help or for gear stand beside it with their sources. No such "
            "figure is a mass that harms nobody.",
        ),
        "Wood Handbook FPL-GTR-282, 2021, chapter 4; HSE INDG143 and Waters and others, 1994, from memory",
    ),
    Method(
        "room-warnings",
        "Warnings of the finish room",
        "",
        (
            "They follow from what was entered and from the time, anew whenever a page is read: a spraying that "
            "counts and whose vapour was over a limit or cannot be reckoned, one whose hour has not come, a probe in a "
            "finish room of which nobody has said that it hangs outside the spray area, a surface nearer to the dew "
            "point than the finish's own sheet asks, rags of an oil that heats itself as long as it counts.",
            "They are no alarm system: nothing sounds, nothing here smells vapour, and they are only as true as what "
            "was entered. Quiet hours do not hold them back.",
        ),
        "our choice; 48 hours: common practice, no source",
    ),
)
