"""Published consequences of what a way out gives up: roots, segmental arteries, distraction."""

from vertebloc.published.acts import Practice
from vertebloc.published.source import Published

#: After roots of these levels were cut. Levels from, to, whether motor roots of a limb.
T2_ROOTS = Published(
    value=56.3,
    unit="%",
    what="weak arm after both T2 roots were cut",
    population="9 of 16 total en bloc resections; with T2 alone 0 of 3, with T1 dissected as well "
    "3 of 7 (all recovered), with higher roots dissected 6 of 6 (severe, lasting)",
    source="t2-roots",
    place="abstract, a copy was read",
    grade="measured",
    known="seen",
)
L2_ROOTS = Published(
    value=76.9,
    unit="%",
    what="weaker hip or knee after L2 roots were cut",
    population="10 of 13 total en bloc resections; all recovered, 12 of 13 walked without help, "
    "11 of 13 had a numb groin or thigh; there L1 and L2 may be cut, L3 to L5 are kept",
    source="l2-roots",
    place="abstract, a copy was read",
    grade="measured",
    known="seen",
)
MOTOR_ROOTS_LASTING = Published(
    value=21.0,
    unit="%",
    low=14.0,
    high=31.0,
    range_is="interval as given in the source",
    what="lasting weakness after a motor root of arm or leg (C5-T1, L3-S1) was given up",
    population="121 people with dumbbell tumours, pooled; at once 46 % (31-62), severe 1 % (0-7)",
    source="motor-roots-review",
    place="abstract",
    grade="measured",
    known="seen",
)
#: Roots that move arms and legs, from the first to the last of each run. The review of dumbbell
#: tumours (motor-roots-review, abstract) counts these as motor; the source on L2 (l2-roots,
#: abstract) keeps L3 to L5 as its institute's rule.
MOTOR_ROOTS = (("C5", "T1"), ("L3", "S1"))
KEPT_ROOTS = Practice(
    what="roots that move arms and legs, C5 to T1 and L3 to S1, are kept",
    source="l2-roots",
    place="abstract, a copy was read: there L1 and L2 may be cut, L3 to L5 are kept",
    grade="consensus",
    known="seen",
)
THORACIC_ROOTS = Practice(
    what="a numb band of skin, rarely a bulge of the belly's wall; from T3 to T12 commonly "
    "accepted",
    known="memory high",
)
FIRST_LUMBAR_ROOT = Practice(
    what="a numb groin; the source on L2 reports that L1 may be cut as well",
    source="l2-roots",
    place="abstract, a copy was read",
    grade="consensus",
    known="seen",
)

#: Consecutive levels that lose both segmental arteries.
ARTERIES_AT_RISK = Published(
    value=5.0,
    unit="levels in a row",
    what="both segmental arteries closed, from which the cord was at risk",
    population="dogs: legs normal in all 5 at 3 and at 4 levels, in 3 of 5 at 5, in none of 5 at "
    "7; signals changed in 2 of 3 at 5",
    source="fujimaki2006",
    place="abstract, a copy was read",
    grade="measured",
    known="seen",
)
ARTERY_OF_THE_CORD = Published(
    value=89.0,
    unit="%",
    what="great artery of the cord that came in between T8 and L1",
    population="60 studies, 5437 people; on the left in 76.6 %",
    source="taterra2019",
    place="abstract",
    grade="measured",
    known="seen",
)

#: No published limit of distraction for the human cord is known here: none is printed.
DISTRACTION_HARM = Practice(
    what="pulling the spine apart stretches the cord and its vessels; no limit that is safe is "
    "known here",
)
DISTRACTION_HOLD = Practice(
    what="hold before and after each step of pulling: signals compared with those before; weaker "
    "or gone, let go at once",
)
