"""A formula of a docstring as a screen reader should say it."""

from __future__ import annotations

import re

_SAID: tuple[tuple[str, str], ...] = (
    (r"\^-T\b", " inverse transposed "),
    (r"\^T\b", " transposed "),
    (r"\^-1\b", " inverse "),
    (r"\^2\b|²", " squared "),
    (r"\^3\b|³", " cubed "),
    (r"\^\{([^}]*)\}", r" to the power \1 "),
    (r"\^\(([^)]*)\)", r" to the power (\1) "),
    (r"\^([\w.-]+)", r" to the power \1 "),
    (r"sqrt\(", " square root of ("),
    (r"\bexp\(", " e to the power ("),
    (r"\bsum_(\w+)", r" sum over \1 of "),
    (r"d/dt", " rate of "),
    (r"(\w)''", r"\1 double dot"),
    (r"(\w)'", r"\1 dot"),
    (r"\|([^|]+)\|", r" size of \1 "),
    (r"(\w)_\{?(\w+)\}?", r"\1 sub \2"),
    (r"<=|≤", " at most "),
    (r">=|≥", " at least "),
    (r"->|→", " becomes "),
    (r"\+-|±", " plus or minus "),
    (r"=", " equals "),
    (r"<", " less than "),
    (r">", " greater than "),
    (r"\*|×|·", " times "),
    (r"/", " over "),
    (r"\+", " plus "),
    (r"(?<=[\s(])-\s?|(?<=[\d)])-(?=[\w(])|^-", " minus "),
)


def spoken(formula: str) -> str:
    """Words for a formula: signs by their names, powers and roots said, names as they are."""
    text = " ".join(formula.split())
    for sign, words in _SAID:
        text = re.sub(sign, words, text)
    return re.sub(r" (?=[),])", "", " ".join(text.split()))
