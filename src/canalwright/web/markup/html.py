"""A very small writer of HTML: elements as strings, every text and attribute escaped."""

from html import escape

VOID = frozenset({"br", "hr", "img", "input", "link", "meta"})


class Safe(str):
    """Markup that was made here (or by `canalwright.report`), not text that came from outside."""

    __slots__ = ()


def text(content: object) -> Safe:
    """Text, escaped."""
    return Safe(escape(str(content), quote=False))


def el(name: str, /, *children: Safe | str, **attributes: str | float | bool | None) -> Safe:
    """One element. Plain strings among the children are escaped, `Safe` ones are not.

    `_` in an attribute's name stands for `-`, a trailing `_` is dropped; None and False leave it out, True gives it no value.
    """
    written = "".join(
        f" {key.rstrip('_').replace('_', '-')}" + ("" if value is True else f'="{escape(str(value))}"')
        for key, value in attributes.items()
        if value is not None and value is not False
    )
    if name in VOID:
        return Safe(f"<{name}{written}>")
    body = "".join(child if isinstance(child, Safe) else text(child) for child in children)
    return Safe(f"<{name}{written}>{body}</{name}>")


def join(*children: Safe | str) -> Safe:
    """Several in a row."""
    return Safe("".join(child if isinstance(child, Safe) else text(child) for child in children))
