"""Random answers of a class, without a fuzzing engine: numbers, units, brackets, words and noise strung together.

    python tests/benchmarks/fuzz_answers.py [FILES [SEED]]      (100000)

Each file holds a random answer to every question and random lines between. Reader and marker must end in a mark or in a
refusal of three beats, within a second, and a right answer that was planted among the noise must be read as it is.
"""

import math
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from fermkit.basis.errors import InputError
from fermkit.teach.answers import MENDED, QUESTION, WORDS, Given, answers_from, as_asked, measured_of, mistake_named
from fermkit.teach.class_data import make_class, read_key
from fermkit.teach.marking import group_marks
from fermkit.teach.pooling import answered_by

NUMBERS = ["0", "1.16", "1,157", "75", "-3", "1e3", "1e400", "1E-5", "9" * 40, "1.2.3", "1,234,567", "٣", "½", "nan"]
SIGNS = ["±", "+/-", "+-", "(", ")", "(5)", "(14)", "≈", "~", "=", "/", "^", "⁻¹", "-1", "−", "%", "+", "..", ";", ","]
UNITS = ["mol", "mmol", "mmol/h", "h", "min", "g", "kg", "mg", "% vol", "vol%", "%", "L", "°C", "bar", "furlong", "g/"]
WORDS_TYPED = ["about", "of", "dry", "ethanol", "leak", "none", "wet product", "weigh the jar", "third of a mole"]
NOISE = ["\t", "\u200b", "\u00a0", "\ufeff", "\x00", "\x0b", "\u2028", "\udc80",
         "ß", "<b>", "=1+1", "'", '"', "[", ":", "\\", "😀"]  # fmt: skip
PIECES = [*NUMBERS, *SIGNS, *UNITS, *WORDS_TYPED, *NOISE]
PLANTED = "(1,157 ± 0,014) mol"


def typed(rng: random.Random) -> str:
    """One answer: half of them nearly as a person would write it, half of them noise."""
    if rng.random() < 0.5:
        number, half = (f"{rng.choice(['', '-', ' '])}{10 ** rng.uniform(-3, 4):.{rng.randint(0, 4)}f}" for _ in "ab")
        behind = rng.choice(["", f" ± {half}", f"({rng.randint(1, 99)})", f" +/- {half} %", rng.choice(PIECES)])
        unit = rng.choice([*UNITS, "", ""])
        text = rng.choice([f"{number}{behind} {unit}", f"({number}{behind}) {unit}", f"about {number} {unit}{behind}"])
        return text.replace(".", rng.choice([".", ","])) + rng.choice(["", ".", " ;"])
    return rng.choice(["", " "]).join(rng.choice(PIECES) for _ in range(rng.randint(0, 9)))


def a_file(rng: random.Random) -> str:
    """A file of answers with lines that nobody asked for."""
    names = [*QUESTION, *(f"mended {name}" for name in MENDED), *WORDS, "class", "group", "shared 1", "shared 2"]
    lines = [f"{name}{rng.choice([': ', ' = ', ' [g]: ', ''])}{typed(rng)}" for name in names if rng.random() < 0.8]
    lines += [typed(rng) for _ in range(rng.randint(0, 3))]
    rng.shuffle(lines)
    return rng.choice(["\n", "\r\n", "\r"]).join([*lines, f"gas made: {PLANTED}"])


def understood(text: str, counts: Counter) -> None:
    """Every question asked of one text."""
    for question in QUESTION.values():
        try:
            found = as_asked(text, question)
        except InputError as problem:
            assert problem.met and problem.needed and problem.do, text
            counts["refused"] += 1
            continue
        counts["nothing" if found is None else "read"] += 1
        assert found is None or math.isfinite(found.value), (text, found)
        assert found is None or found.u is None or found.u >= 0, (text, found)
    for reader in (mistake_named, measured_of):
        try:
            reader(text)
        except InputError as problem:
            assert problem.met and problem.needed and problem.do, text


def main(files: int = 100_000, seed: int = 1) -> None:
    """Fuzz, and print what came of it."""
    with tempfile.TemporaryDirectory() as place:
        kit = make_class(2, Path(place) / "class", faults=("leak", "none"), secret=bytes(32))
        keys = {one["group"]: one for one in read_key(kit.teacher)["groups"]}
    rng, counts, slowest, begun = random.Random(seed), Counter(), 0.0, time.perf_counter()
    for _ in range(files):
        start = time.process_time()
        text = a_file(rng)
        answers = answers_from(text)
        assert answers.number("gas made") == Given(1.157, 0.014), text
        own = keys[rng.choice(["01", "02"])]
        marks = group_marks(answers, (), own, keys, kit.class_id)
        assert 0 <= marks.points <= marks.of and len(marks.marks) == 14, text
        assert all(math.isfinite(value) for value in answered_by(answers)[0].values()), text
        understood(typed(rng), counts)
        slowest = max(slowest, time.process_time() - start)
    took = time.perf_counter() - begun
    print(f"{files} files marked, {sum(counts.values())} answers asked ({dict(counts)}); slowest {slowest:.2f} s; "
          f"{took:.0f} s; unexpected: 0")  # fmt: skip


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]))
