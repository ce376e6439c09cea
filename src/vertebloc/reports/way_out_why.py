"""Formula, source and limits of the way out, for beside its answer."""

from __future__ import annotations

from vertebloc.reports.why_entry import Why

WAY_OUT_WHY = (
    Why(
        title="What is made as large as can be",
        formula="The distance between piece and sac only. From rest, where they touch, what is "
        "wanted rises straight from (rest - tolerance) to r once the farthest point of the piece "
        "has moved s0; a way is worth the largest r that all its poses keep. Bone and ribs may be "
        "pressed by the tolerance, roots and freed vessels moved by stated lengths; patches of "
        "sac that had room must keep r as well.",
        source="Ours. Closed forms in the project's tests: straight and bent corridors, a disc "
        "round a post, a ring segment that must turn, converging cuts.",
        limits="r, s0 and all other lengths are assumed: nobody measured them. CT lying on the "
        "back; in theatre vessels shift and freed segments move.",
    ),
    Why(
        title="Value and certificate",
        formula="Shown to be possible: the least worth of one way, looked at closely along all of "
        "it, sampling and field errors taken off. No way betters: the widest path over a lattice "
        "of poses, each raised by what a pose within its cell could be better. The gap between "
        "the two is the method's; outlines and sac off by the stated errors are the input's, and "
        "are given apart.",
        source="Ours: widest path over stored distances, which change no faster than places.",
        limits="The certificate holds for moves in the plane midway between the cuts. A finer "
        "lattice narrows it at about six times the time, and hardly moves the value.",
    ),
    Why(
        title="Yes, no, cannot tell",
        formula="Yes: a way keeps r with all obstacles and the sac grown by the errors. No: with "
        "everything given up and all shrunk by the errors, even what every tilt and lift of the "
        "piece has in common cannot leave, so that nothing in the stated family can. Else cannot "
        "tell.",
        source="Ours. A tilted way that is known is never answered no, in the project's tests.",
        limits="A no is one for the family of moves that it names, and for this piece: other cuts "
        "or a stage in front may open a way.",
    ),
    Why(
        title="Given up and gained",
        formula="Of all that may be given up, what can be kept is kept, in two orders a side. "
        "Nothing has a price here: your own order puts the ledger in order and chooses among the "
        "yes. Segmental arteries follow from bodies and roots.",
        source="What is published on each root, and on arteries lost in a row, stands beside it "
        "with its source.",
        limits="A few plans a side, not every one. A consequence is that of the people studied, "
        "no forecast for this person.",
    ),
)
