"""Options that several verbs share are named once: a dataclass of options, spread out into the options of each verb that takes it."""

from collections.abc import Callable
from dataclasses import MISSING, fields, is_dataclass
from functools import wraps
from inspect import Parameter, Signature, signature
from typing import Any, get_type_hints


def spread(verb: Callable[..., None]) -> Callable[..., None]:
    """Offer each field of a parameter that is a dataclass as an option of its own; the verb gets the dataclass filled in."""
    shared: dict[str, Any] = {}
    offered: list[Parameter] = []
    for one in signature(verb, eval_str=True).parameters.values():
        if is_dataclass(one.annotation):
            shared[one.name] = one.annotation
            offered += _options(one.annotation)
        else:
            offered.append(one.replace(kind=Parameter.KEYWORD_ONLY))

    @wraps(verb)
    def called(**given: Any) -> None:
        filled = {name: kind(**{f.name: given.pop(f.name) for f in fields(kind)}) for name, kind in shared.items()}
        verb(**given, **filled)

    called.__signature__ = Signature(offered)  # type: ignore[attr-defined]
    called.__annotations__ = {one.name: one.annotation for one in offered}
    return called


def _options(kind: Any) -> list[Parameter]:
    hints = get_type_hints(kind, include_extras=True)
    return [
        Parameter(
            one.name, Parameter.KEYWORD_ONLY, annotation=hints[one.name],
            default=Parameter.empty if one.default is MISSING else one.default,
        )
        for one in fields(kind)
    ]  # fmt: skip
