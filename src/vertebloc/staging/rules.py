"""Which kinds of resection the published sector rules allow, and through which side to open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from vertebloc.errors import InputError
from vertebloc.published import staging as published
from vertebloc.published.staging import SectorRule
from vertebloc.space.frames import Side
from vertebloc.staging.model import Answer, Layer, Staging
from vertebloc.staging.sectors import POSTERIOR, SECTORS, Region, Sector, find_sector

_SIDES = (Side.LEFT, Side.RIGHT)


@dataclass(frozen=True, slots=True, kw_only=True)
class FamilyVerdict:
    """What one published rule says about one kind of resection."""

    name: str
    allowed: Answer
    reasons: tuple[str, ...]  #: what stands against it, or what decides
    condition: str  #: the published condition in words
    source: str  #: key in sources.bib
    known: str  #: how the rule is known here
    caution: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleVerdict:
    """What the published rules say; shown beside the geometry, never instead of it."""

    families: tuple[FamilyVerdict, ...]
    pedicle_free: Mapping[Side, Answer]
    open_sides: tuple[Side, ...]  #: sides whose pedicle is free for certain
    free_posterior_run: int  #: longest run of neighbouring free posterior sectors
    dura_margin: str  #: predicted margin at the dura, in words
    sentence: str
    cautions: tuple[str, ...]

    def __post_init__(self) -> None:
        """Freeze the mapping."""
        object.__setattr__(self, "pedicle_free", MappingProxyType(dict(self.pedicle_free)))

    def family(self, rule: SectorRule) -> FamilyVerdict:
        """Find the verdict on one rule of ``published.staging``.

        Parameters
        ----------
        rule : SectorRule
            One of ``published.staging.RULES``.

        Returns
        -------
        FamilyVerdict
            What that rule says.
        """
        return next(one for one in self.families if one.name == rule.name)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """Sectors and layers that are involved for certain, and those that may be."""

    certain: frozenset[Sector]
    possible: frozenset[Sector]
    layers: frozenset[Layer]
    drawn_layers: frozenset[Layer]  #: as the outline stands
    possible_layers: frozenset[Layer]


def rule_verdict(staging: Staging) -> RuleVerdict:
    """Say which resections the published sector rules allow for a staged tumour.

    Parameters
    ----------
    staging : Staging
        Sectors and layers with their distances to flipping.

    Returns
    -------
    RuleVerdict
        Yes, no or cannot tell for each kind of resection and each pedicle.

    Notes
    -----
    Three answers: "yes" holds with the outline grown by ``settings.contour_error_mm``, "no" with
    it shrunk by as much; between lies "cannot tell", naming the sectors and layers that decide.
    The rules look at sectors only: they know no sizes, vessels or way out.

    References
    ----------
    [boriani1997] sectors allowed for each kind of resection.
    [boriani2018] front only; layers.
    [chan2009] agreement between readers.
    """
    error = staging.settings.contour_error_mm
    layers = {one.layer: one for one in staging.layers}
    near = {
        layer
        for layer, one in layers.items()
        if one.flips_after_mm is not None and one.flip_found and one.flips_after_mm <= error
    }
    present = {layer for layer, one in layers.items() if one.involved is Answer.YES}
    untold = {layer for layer, one in layers.items() if one.involved is Answer.CANNOT_TELL}
    in_canal = Layer.EPIDURAL in present | near
    return _judge(
        _Found(
            certain=staging.sectors_if_outline_moved(-error),
            possible=staging.sectors_if_outline_moved(error),
            layers=frozenset(present - near),
            drawn_layers=frozenset(present),
            possible_layers=frozenset(present | near | (untold if in_canal else set())),
        )
    )


def rule_verdict_for(sectors: frozenset[Sector], layers: frozenset[Layer]) -> RuleVerdict:
    """Say which resections the published rules allow for sectors and layers taken as certain.

    Parameters
    ----------
    sectors : frozenset of Sector
        Sectors that tumour involves.
    layers : frozenset of Layer
        Layers that it involves.

    Returns
    -------
    RuleVerdict
        Yes or no for each kind of resection and each pedicle.

    Raises
    ------
    InputError
        If there is no sector or no layer.
    """
    if not sectors or not layers:
        raise InputError("the rules need at least one involved sector and one involved layer")
    return _judge(
        _Found(
            certain=sectors,
            possible=sectors,
            layers=layers,
            drawn_layers=layers,
            possible_layers=layers,
        )
    )


def _judge(found: _Found) -> RuleVerdict:
    pedicles = {side: _is_free(Sector(side, Region.PEDICLE), found) for side in _SIDES}
    open_sides = tuple(side for side in _SIDES if pedicles[side] is Answer.YES)
    families = tuple(_judge_family(rule, found) for rule in published.RULES)
    run = longest_free_posterior_run(found.possible)
    dura = _predict_dura_margin(found)
    return RuleVerdict(
        families=families,
        pedicle_free=pedicles,
        open_sides=open_sides,
        free_posterior_run=run,
        dura_margin=dura,
        sentence=_write_sentence(families, pedicles, dura),
        cautions=_find_cautions(families, run),
    )


def _is_free(sector: Sector, found: _Found) -> Answer:
    if sector in found.certain:
        return Answer.NO
    return Answer.CANNOT_TELL if sector in found.possible else Answer.YES


def _judge_family(rule: SectorRule, found: _Found) -> FamilyVerdict:
    against = _stands_against(rule, found.certain, found.layers)
    perhaps = _stands_against(rule, found.possible, found.possible_layers)
    allowed = Answer.NO if against else Answer.CANNOT_TELL if perhaps else Answer.YES
    return FamilyVerdict(
        name=rule.name,
        allowed=allowed,
        reasons=against or perhaps,
        condition=rule.what,
        source=rule.source,
        known=rule.known,
        caution=rule.caution,
    )


def _stands_against(
    rule: SectorRule, sectors: frozenset[Sector], layers: frozenset[Layer]
) -> tuple[str, ...]:
    """What of sectors and layers breaks a rule, in words; empty if it holds."""
    sets = [frozenset(find_sector(number) for number in within) for within in rule.within]
    outside = [sectors - within for within in sets]
    least = min(len(one) for one in outside)
    # Where two sets miss by equally much, either would have to be cleared: both are named.
    beyond = frozenset[Sector]().union(*(one for one in outside if len(one) == least))
    blocked = sectors & frozenset(find_sector(number) for number in rule.free)
    reasons = [f"tumour in the {sector.words}" for sector in SECTORS if sector in beyond | blocked]
    reasons += [
        f"tumour in layer {layer.value} ({layer.words})"
        for layer in Layer
        if layer in layers and layer.value not in rule.layers
    ]
    return tuple(reasons)


def longest_free_posterior_run(involved: frozenset[Sector]) -> int:
    """Longest run of neighbouring posterior sectors without tumour.

    Parameters
    ----------
    involved : frozenset of Sector
        Sectors that hold tumour, or may.

    Returns
    -------
    int
        0 to 6, of the six sectors from one facet over the spinous process to the other.
    """
    arc = [sector for sector in SECTORS[6:] + SECTORS[:6] if sector in POSTERIOR]
    best = run = 0
    for sector in arc:
        run = 0 if sector in involved else run + 1
        best = max(best, run)
    return best


def _predict_dura_margin(found: _Found) -> str:
    # What is drawn counts in full here: the margin is not made better by the outline's error.
    if Layer.INTRADURAL in found.drawn_layers:
        return "tumour inside the sac: no margin without taking dura"
    if Layer.EPIDURAL in found.drawn_layers:
        return "marginal or intralesional: tumour lies against the dura (layer D)"
    if found.possible_layers & {Layer.EPIDURAL, Layer.INTRADURAL}:
        return "cannot tell: tumour lies within the outline's error of the epidural space"
    return "not threatened by the layers found"


def _write_sentence(
    families: tuple[FamilyVerdict, ...], pedicles: Mapping[Side, Answer], dura: str
) -> str:
    whole = next(one for one in families if one.name == published.WHOLE_BODY.name)
    free = [side.value for side in _SIDES if pedicles[side] is Answer.YES]
    if whole.allowed is Answer.YES:
        start = (
            "The sector rules allow taking the whole body, opening through the "
            f"{' or '.join(free)} side"
        )
    elif whole.allowed is Answer.NO:
        start = f"The sector rules do not allow taking the whole body: {', '.join(whole.reasons)}"
    else:
        start = (
            "Whether the sector rules allow taking the whole body cannot be told within the "
            f"outline's error; it turns on {', '.join(whole.reasons)}"
        )
    return f"{start}. Margin at the dura: {dura}."


def _find_cautions(families: tuple[FamilyVerdict, ...], run: int) -> tuple[str, ...]:
    kappas = (published.KAPPA_SECTORS, published.KAPPA_LAYERS, published.KAPPA_PROCEDURE)
    sectors, layers, procedure = (kappa.value for kappa in kappas)
    found = [
        f"Readers agree little on these: kappa {sectors:g} for sectors, {layers:g} for layers, "
        f"{procedure:g} for the procedure ({published.KAPPA_SECTORS.population}).",
    ]
    found += [f"{one.name}: {one.caution}." for one in families if one.caution]
    wanted = int(published.OPENING_SECTORS.value)
    if run < wanted:
        found.append(
            f"Only {run} neighbouring posterior sectors are free; practice asks for {wanted} "
            "(not looked up), wide enough for the sac."
        )
    return tuple(found)
