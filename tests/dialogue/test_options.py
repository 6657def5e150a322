"""Which of several things an answer picks, and who says who they are, in whatever alphabet."""

from typing import Any

import pytest

from dialogue.options import chosen, plain, trainee_said


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("It's Nia's -- blue frame!", "it s nia s blue frame"),
        ("play_on", "play on"),
        ("Zo\N{LATIN SMALL LETTER E WITH DIAERESIS}\N{RIGHT SINGLE QUOTATION MARK}s", "zo\u00eb s"),
        ("\u5f20\u4f1f", "\u5f20\u4f1f"),
    ],
)
def test_words_alone(text: str, words: str) -> None:
    """Signs and the apostrophe part words; a letter is a letter in every alphabet."""
    assert plain(text) == words


def test_a_name_with_accents_is_whole() -> None:
    """A trainee who says a name is called by all of it."""
    assert trainee_said("I'm zo\u00eb, let me practise", ()) == "Zo\u00eb"
    assert trainee_said("\u5f20\u4f1f wants to practise", ("\u5f20\u4f1f", "Ben")) == "\u5f20\u4f1f"


def test_one_of_several_is_picked_by_a_name_in_another_alphabet() -> None:
    """Two racquets named in letters beyond a to z are told apart by them."""
    entries = [{"text": name, "value": name, "marks": [name, ""]} for name in ("\u7ea2\u8272", "\u84dd\u8272")]
    options: dict[str, Any] = {"entries": entries, "several": False}
    assert chosen(options, {"text": "\u84dd\u8272"}) == ["\u84dd\u8272"]
