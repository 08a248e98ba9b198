"""Programs made up at random, in all modes that bedsim reads."""

import math
import random


class Maker:
    """Writes a program line by line and knows where the machine stands, in mm."""

    def __init__(self, seed: int) -> None:
        self.r = random.Random(seed)
        self.lines: list[str] = []
        self.at = {"X": 0.0, "Y": 0.0, "Z": 0.0, "E": 0.0}  # the program's own, as written, in mm
        self.inch = self.relative = self.relative_e = False
        self.modal = ""
        self.numbered = self.r.random() < 0.2

    def text(self) -> str:
        end = self.r.choice(["\n", "\n", "\r\n"])
        return end.join(self.lines) + self.r.choice(["", end])

    def number(self, value: float) -> str:
        """A number in the unit in force, in one of the ways to write it."""
        found = f"{value:.{6 if self.inch else 4}f}"
        way = self.r.randrange(5)
        if way == 0:
            found = found.rstrip("0")
        if way == 1 and "0." in found and found.lstrip("-").startswith("0."):
            found = found.replace("0.", ".", 1)
        if way == 2 and not found.startswith("-"):
            found = "+" + found
        if way == 3:
            found = found.replace(".", " .", 1)
        return found if found not in ("-", ".", "-.", "+.") else "0"

    def add(self, words: list[str]) -> None:
        r = self.r
        head = [f"N{len(self.lines) % 99999}"] if self.numbered else []
        text = r.choice(["", " "]).join([*head, *words]) if r.random() < 0.9 else "  ".join([*head, *words])
        if r.random() < 0.05:
            text = text.lower()
        if r.random() < 0.05:
            text += r.choice([" ; a note (G1 X9)", " (a ; note)", "(G1X9)"])
        if r.random() < 0.02:
            text += "*57"
        self.lines.append(text)

    def axis(self, letter: str, value: float) -> str:
        """The word that brings an axis to a place in mm; the place kept is the one written."""
        unit = 25.4 if self.inch else 1.0
        by = self.relative or (letter == "E" and self.relative_e)
        text = self.number((value - by * self.at[letter]) / unit)
        self.at[letter] = float(text.replace(" ", "")) * unit + by * self.at[letter]
        return letter + text

    def move(self, g: str, **to: float) -> None:
        words = [self.axis(letter, value) for letter, value in to.items()]
        if self.r.random() < 0.15:
            words.append("F" + self.number(self.r.uniform(600, 6000) / (25.4 if self.inch else 1)))
        self.r.shuffle(words)
        if g != self.modal or self.r.random() < 0.7 or g in ("G2", "G3"):
            words.insert(self.r.randrange(2), g)
        self.modal = g
        self.add(words)

    def arc(self, e: float, z: float) -> None:
        r, unit = self.r, 25.4 if self.inch else 1.0
        way, radius = r.choice([1, -1]), r.uniform(3, 30)
        begin, angle = r.uniform(0, 6.28), r.uniform(0.3, 6.0) if r.random() < 0.8 else 2 * math.pi
        x0, y0 = self.at["X"], self.at["Y"]
        cx, cy = x0 - radius * math.cos(begin), y0 - radius * math.sin(begin)
        end = begin + way * angle
        words = []
        by_r = r.random() < 0.4 and 0.3 < angle < 6.0 and abs(angle - math.pi) > 0.2
        if angle < 6.2:
            words += [
                self.axis("X", cx + radius * math.cos(end)),
                self.axis("Y", cy + radius * math.sin(end)),
            ]
        if by_r:
            words.append("R" + self.number((radius if angle < math.pi else -radius) / unit))
        else:
            words += ["I" + self.number((cx - x0) / unit), "J" + self.number((cy - y0) / unit)]
        words.append(self.axis("E", e))
        if z != 0:
            words.append(self.axis("Z", self.at["Z"] + z))
        r.shuffle(words)
        self.modal = "G3" if way == 1 else "G2"
        self.add([self.modal, *words])

    def mode(self) -> None:
        """Some word that changes no place."""
        r, kind = self.r, self.r.randrange(9)
        if kind == 0:
            self.inch = not self.inch
            self.add(["G20" if self.inch else r.choice(["G21", "G71"])])
        elif kind == 1:
            self.relative = not self.relative
            self.add(["G91" if self.relative else "G90"])
        elif kind == 2:
            self.relative_e = not self.relative_e
            self.add(["M83" if self.relative_e else "M82"])
        elif kind == 3:
            letter = r.choice("EEEXYZ")
            text = self.number(0.0 if letter == "E" else r.uniform(-50, 50))
            self.at[letter] = float(text.replace(" ", "")) * (25.4 if self.inch else 1)
            self.add(["G92", letter + text])
        elif kind == 4:
            letters = r.choice(["X", "XY", "XYZ", ""])
            self.add(["G28", *letters])
            self.at.update(dict.fromkeys(letters or "XYZ", 0.0))
        else:
            same = "G91" if self.relative else "G90"
            plain = [["G4", "P250"], ["M3", "S1000"], ["G17", same], [same, "G40"]]
            foreign = [
                "M117 layer 3 of (x",
                "M106 S255",
                "SET_A B=3 X4",
                "%",
                "",
                "M900 X8 Y9",
                "M204 P1 ; x",
            ]
            if r.random() < 0.5:
                self.add(r.choice(plain))
            else:
                self.lines.append(r.choice(foreign))


def random_program(seed: int, moves: int = 60) -> str:
    """A program of about so many moves."""
    maker = Maker(seed)
    r = maker.r
    for _ in range(moves):
        while r.random() < 0.25:
            maker.mode()
        e = maker.at["E"] + r.choice([0.0, r.uniform(0, 3), -1.0])
        if r.random() < 0.3:
            maker.arc(e, r.choice([0.0, 0.0, 0.3]))
            continue
        to = {letter: r.uniform(-100, 100) for letter in "XY" if r.random() < 0.8}
        if r.random() < 0.15:
            to["Z"] = r.uniform(0, 50)
        if r.random() < 0.7 or not to:
            to["E"] = e
        maker.move(r.choice(["G0", "G1", "G1"]), **to)
    return maker.text()
