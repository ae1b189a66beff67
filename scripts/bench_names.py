"""How often the names guessed from paths alone are right, over invented shops.

    python -m scripts.bench_names [--half tune|held-out|all] [--made 0-19] [--wrong 10]

``--made`` takes shops of :mod:`scripts.names_generator` by seed instead of the written ones. A guess is *right* when it
says the truth (case, accents and spaces apart), *unsorted* when it is empty though the truth is known, *wrong*
otherwise; an unsorted one counts neither way. A *wrong join* is two pieces filed as one.
"""

import argparse
from collections import Counter, defaultdict
from collections.abc import Iterator

from catalogue.filing.folding import fold
from catalogue.filing.guess import FileFacts, Guess, guess_all
from catalogue.filing.titles import title_key
from scripts import names_generator
from scripts.names_shops import SHOPS, Truth


def judged(kind: str, truth: Truth, guess: Guess) -> str:
    said, true = {"artist": (fold(guess.artist.value).replace(" ", ""), fold(truth.artist).replace(" ", "")),
                  "piece": (title_key(guess.piece.value), title_key(truth.piece)),
                  "role": (guess.role.value, truth.role)}[kind]
    if kind == "piece" and said and not true:
        return "right" if not guess.artist.value else "wrong"  # filed under nobody: seen among the unsorted
    if said == true:
        return "right"
    return "unsorted" if not said or said == "unsorted" else "wrong"


def wrong_joins(truths: list[Truth], guesses: list[Guess]) -> int:
    """Pieces beyond the first that share one guessed artist and title."""
    filed: dict[tuple[str, str], set[tuple[str, str]]] = defaultdict(set)
    for truth, guess in zip(truths, guesses, strict=True):
        if guess.piece.value and guess.artist.value and truth.piece:
            filed[fold(guess.artist.value), title_key(guess.piece.value)].add((truth.artist, truth.piece))
    return sum(len(pieces) - 1 for pieces in filed.values())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--half", choices=("tune", "held-out", "all"), default="tune")
    parser.add_argument("--made", metavar="FIRST-LAST", help="generated shops, by seed")
    parser.add_argument("--wrong", type=int, default=0, metavar="N", help="show N wrong guesses a shop")
    parser.add_argument("--total", action="store_true", help="show the last line only")
    asked = parser.parse_args()
    print("| shop | files | artist | piece | role | unsorted | wrong joins |\n|---|---|---|---|---|---|---|")
    total: Counter[tuple[str, str]] = Counter()
    joins = files = 0
    for name, truths in _shops(asked.half, asked.made):
        guesses = guess_all([FileFacts(t.path, format=t.format, width=t.width, height=t.height) for t in truths])
        counts: Counter[tuple[str, str]] = Counter()
        wrong = []
        for truth, guess in zip(truths, guesses, strict=True):
            verdicts = {kind: judged(kind, truth, guess) for kind in ("artist", "piece", "role")}
            counts.update(verdicts.items())
            if "wrong" in verdicts.values():
                wrong.append(f"    {truth.path}: {guess.artist.value} | {guess.piece.value} | {guess.role.value}"
                             f"  (is {truth.artist} | {truth.piece} | {truth.role})")
        bad = wrong_joins(truths, guesses)
        if not asked.total:
            print(row(name, len(truths), counts, bad))
            print("\n".join(wrong[:asked.wrong]) + "\n" if asked.wrong and wrong else "", end="")
        total += counts
        joins, files = joins + bad, files + len(truths)
    print(row("all", files, total, joins))


def _shops(half: str, made: str | None) -> Iterator[tuple[str, list[Truth]]]:
    if made:
        first, _, last = made.partition("-")
        for seed in range(int(first), int(last or first) + 1):
            yield f"made {seed}", names_generator.shop(seed)
        return
    for shop in SHOPS:
        if half == "all" or shop.held_out == (half == "held-out"):
            yield shop.name + (" (held out)" if shop.held_out else ""), shop.archive()


def row(name: str, files: int, counts: Counter[tuple[str, str]], joins: int) -> str:
    """One line of the table: the share right among those guessed, and the share left unsorted."""
    shares = [counts[kind, "right"] / max(1, counts[kind, "right"] + counts[kind, "wrong"])
              for kind in ("artist", "piece", "role")]
    unsorted = max(counts[kind, "unsorted"] for kind in ("artist", "piece", "role")) / files
    return f"| {name} | {files} | {' | '.join(f'{s:.3f}' for s in shares)} | {unsorted:.3f} | {joins} |"


if __name__ == "__main__":
    main()
