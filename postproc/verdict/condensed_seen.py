"""What a condensed model shows; apart from the words for it, which closed forms alone need, too."""

from __future__ import annotations

from headjoint.cases.models.condensed import BoreCell, Chain, Model
from headjoint.postproc.verdict.model_seen import ModelSeen, cell_seen, closed_form_seen, one_fastener_seen


def seen_of(model: Model) -> ModelSeen:
    """Return what a condensed model shows."""
    if isinstance(model, BoreCell):
        return cell_seen(model.cell)
    return closed_form_seen(model.joint) if isinstance(model, Chain) else one_fastener_seen(model.joint)
