"""What stands where something is being made: what is done, for how long, how to stop it; and what stands there when it was stopped."""

from canalwright.web.markup.html import Safe, el, join
from canalwright.web.words import Words


def line(text: str, state: str, *more: Safe | str) -> Safe:
    """A lamp and a line of words."""
    return el("p", el("i", class_="lamp", aria_hidden="true"), text, *more, class_=f"state {state}", data_state=state)


def under_way(words: Words, text: str, state: str = "refining") -> Safe:
    """Something is being made: the seconds count up in the browser, a button stops it."""
    return line(
        text,
        state,
        el("span", data_progress=True),
        el("span", class_="counting", data_counting="s", aria_hidden="true"),
        el("button", words("Cancel"), type="button", class_="button small", data_send="cw-cancel"),
    )


def done_so_far(words: Words, told: str, share: float | None) -> str:
    """What is being done and the share of it, for the place that `under_way` keeps; nothing while neither is known."""
    return f"{words(told)} {100 * share:.0f} %" if told and share is not None else ""


def stopped(words: Words, text: str) -> Safe:
    """It was stopped: what is shown is older; a button makes it after all."""
    return line(
        text,
        "stopped",
        el("button", words("Go on after all"), type="button", class_="button small", data_send="cw-again"),
    )


def box(*content: Safe | str) -> Safe:
    """In the place of a picture that is not there yet."""
    return el("div", join(*content), class_="waiting")
