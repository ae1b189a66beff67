"""Where titles end in an archive's file names, learned from the names themselves, whatever their language.

As stems and suffixes of a language are told apart by how freely they combine: a title is followed by several endings
("oryginał", "część 2", "do druku"), and the same endings follow many titles. All names are kept in one trie of words; a
node behind which several such endings stand is a title. (The idea of stems and their signatures is that of unsupervised
morphology, as in Goldsmith, Computational Linguistics 27, 2001.)
"""

from collections import Counter, defaultdict
from collections.abc import Iterable

from catalogue.filing import vocabulary as words
from catalogue.filing.names import Name
from catalogue.filing.symbols import Symbol, first_fields, joins_words, joint, symbols_of
from catalogue.filing.tokens import Kind

MANY = 3  # titles that an ending must follow
MOSTLY = 0.6  # share of them that must have other endings too
STRONG = 5  # titles behind which an ending must stand to end a title wherever it stands
SHARE = 0.5  # share of a title's files that must go on with endings
END = "."
_LATE = frozenset({Kind.SIZE, Kind.RESOLUTION})  # what stands behind a title, never before it


class Endings:
    """The endings of one archive, learned from the distinct names of its files and folders."""

    def __init__(self, stems: Iterable[Name], folders: Iterable[Name]) -> None:
        self._stems, self._folders = list(stems), list(folders)
        self.marks: frozenset[str] = frozenset()
        self.beginnings: frozenset[str] = frozenset()
        self._build()
        self.beginnings = self._find_beginnings()
        if self.beginnings:
            self._build()

    def start(self, name: Name) -> int:
        """The token behind what a name begins with besides its title, as "tirage - "."""
        return max((at for at, text, _ in first_fields(name.text) if text in self.beginnings), default=0)

    def cut(self, name: Name, first: int = 0) -> tuple[int, bool]:
        """The token at which the endings of a name begin, all tokens where it has none; and whether other names prove
        that no word before it is one."""
        symbols = self._read(name)
        tail = len(symbols)  # the first of the words at the end that may all be endings
        while tail and self._may_end(symbols, tail - 1):
            tail -= 1
        if symbols and not tail and self._starts(symbols, 0) and symbols[0][0] > first:
            if any(t.kind == Kind.YEAR and t.text < "2000" for t in name.tokens[first : symbols[0][0]]):
                return symbols[0][0], True  # "1974 do druku": the year is the title
            return len(name.tokens), False
        node = 0
        for at, (index, symbol) in enumerate(symbols):
            if at and at >= tail and index > first:
                if symbol[0] == "y":
                    return index + 1, False
                if symbol[0] == "s" and symbol[1] in _LATE:
                    return index, False
                if self._starts(symbols, at) and self._is_title(node):
                    return index, True
            node = self._children[node].get(symbol, -1)
            if node < 0:
                break
        return len(name.tokens), False

    def strip(self, name: Name, first: int, last: int) -> int:
        """The token after the title of one file, with learned endings removed; for files without siblings to
        compare."""
        symbols = [(i, s) for i, s in self._read(name) if first <= i <= last]
        tail = len(symbols)
        while tail > 1 and self._may_end(symbols, tail - 1):
            tail -= 1
        strong = (at for at in range(max(1, len(symbols) - 4), len(symbols)) if symbols[at][1][1] in self._strong)
        marks = (at for at in range(max(1, tail), len(symbols)) if symbols[at][1][1] in self.marks)
        start = next((at for at in sorted({*strong, *marks}) if not self._is_constant(symbols, at)), len(symbols))
        if start == len(symbols) or not any(s[0] == "w" for _, s in symbols[:start]):
            return last + 1
        if start > max(1, tail) and symbols[start - 1][1][0] == "w" and symbols[start - 1][1][1] in words.FUNCTION:
            start -= 1
        if joins_words(symbols[start][1][1]) or joins_words(symbols[start - 1][1][1]):
            return last + 1  # "low tide of the proof"
        index, (_, text) = symbols[start]
        joints = self._joints[text]
        return index if joints[joint(name, index)] >= 0.2 * joints.total() else last + 1

    def _is_constant(self, symbols: list[tuple[int, Symbol]], at: int) -> bool:
        """Whether all names that begin as this one go on with the same word: "Spider" with "web"."""
        node = 0
        for _, symbol in symbols[:at]:
            node = self._children[node].get(symbol, 0)
            if not node:
                return False
        return self._weight[node] > 1 and len(self._children[node]) == 1

    @property
    def words_known(self) -> frozenset[str]:
        """Words, folded, that this archive ends or begins names with besides titles."""
        return self.marks | self._companions | frozenset(word for text in self.beginnings for word in text.split())

    def _read(self, name: Name) -> list[tuple[int, Symbol]]:
        symbols = self._symbols.get(name.text)
        if symbols is None:
            begin = self.start(name) if self.beginnings else 0
            symbols = [pair for pair in symbols_of(name.text) if pair[0] >= begin]
            at = next((at for at, (_, s) in enumerate(symbols) if s[0] in "wk"), 0)
            if any(s[0] == "w" for _, s in symbols[at:]):
                symbols = symbols[at:]
            self._symbols[name.text] = symbols
        return symbols

    def _build(self) -> None:
        self._children: list[dict[Symbol, int]] = [{}]
        self._weight: list[int] = [0]
        self._last: list[str] = [""]
        self._symbols: dict[str, list[tuple[int, Symbol]]] = {}
        for name in self._stems:
            self._insert(name, 1)
        for name in self._folders:
            self._insert(name, 0)
        self._learn()
        self._joints = self._find_joints()

    def _insert(self, name: Name, weight: int) -> None:
        children, weights = self._children, self._weight
        node = 0
        for _, symbol in (*self._read(name), (-1, ("e", END))):
            child = children[node].get(symbol)
            if child is None:
                child = children[node][symbol] = len(children)
                children.append({})
                weights.append(0)
                self._last.append(symbol[1])
            node = child
            weights[node] += weight

    def _find_joints(self) -> dict[str, Counter[str]]:
        """What stands before each word that ends titles, or leads on to one that does."""
        joints: dict[str, Counter[str]] = defaultdict(Counter)
        for name in self._stems:
            for index, (kind, text) in self._read(name)[1:]:
                if kind in "wkv" and (text in self.marks or text in words.FUNCTION):
                    joints[text][joint(name, index)] += 1
        return joints

    def _learn(self) -> None:
        parents: dict[str, list[tuple[int, int]]] = defaultdict(list)  # of a word: node before it and its own
        known = set()
        self._pairs: Counter[tuple[str, str]] = Counter()
        for node in range(1, len(self._children)):
            for (kind, text), child in self._children[node].items():
                if kind in "wkv" and self._weight[child]:
                    parents[text].append((node, child))
                    if kind in "kv":
                        known.add(text)
                if text in words.FUNCTION and self._weight[child]:
                    self._pairs.update((text, behind) for _, behind in self._children[child])
        candidates = frozenset(w for w, nodes in parents.items() if len(nodes) >= MANY and w not in words.NUMERO)
        behind: dict[str, Counter[str]] = defaultdict(Counter)
        for word in candidates:
            for _, child in parents[word]:
                behind[word].update(text for kind, text in self._children[child] if kind in "wk")
        own = {word: frozenset(t for t, n in counts.items() if n >= 0.5 * len(parents[t]))
               for word, counts in behind.items()}
        self.marks = candidates | known
        for _ in range(3):
            self._titles: dict[int, bool] = {}
            marks = frozenset(word for word in candidates if self._is_mark(parents[word], own.get(word, frozenset())))
            if marks == self.marks:
                break
            self.marks = marks
        self._titles = {}
        self._strong = frozenset(
            word for word in self.marks
            if sum(self._is_title(node) for node, _ in parents[word]) >= STRONG
            and not any(self._is_title_without(child, own[word]) for _, child in parents[word])
        )
        self._companions = self._find_companions({text: len(nodes) for text, nodes in parents.items()})

    def _is_mark(self, met: list[tuple[int, int]], own: frozenset[str]) -> bool:
        """Whether a word ends titles: most nodes it stands behind are titles, and few are once it is added. A node
        with nothing else behind it tells little either way, and so do words that hardly stand elsewhere (``own``: the
        "v2" of "edit v2")."""
        titles = sum(self._is_title(node) for node, _ in met)
        lone = sum(len(self._children[node]) == 1 for node, _ in met)
        weighed = titles + 0.15 * lone + (len(met) - titles - lone)
        return (
            titles >= 2
            and titles >= MOSTLY * weighed
            and sum(self._is_title_without(child, own) for _, child in met) < 0.3 * (len(met) - 0.5 * lone)
        )

    def _is_title_without(self, node: int, own: frozenset[str]) -> bool:
        return self._is_title(node) and any(
            (text in self.marks or kind == "k") and text not in own
            for kind, text in self._children[node] if kind in "wk")

    def _find_companions(self, met: dict[str, int]) -> frozenset[str]:
        """Words that stand behind endings and sizes alone, as "druku" in "do druku"."""
        behind: dict[str, int] = defaultdict(int)
        below = []
        for node in range(1, len(self._children)):
            for (kind, text), child in self._children[node].items():
                late = kind == "y" or (kind == "s" and text in _LATE)
                if late or (kind in "wk" and text in self.marks and self._is_title(node)):
                    below.append(child)
        seen = set()
        while below:
            node = below.pop()
            if node in seen:
                continue
            seen.add(node)
            for (kind, text), child in self._children[node].items():
                behind[text] += kind in "wk"
                below.append(child)
        return frozenset(
            t for t, count in behind.items() if count >= 2 and count >= 0.8 * met.get(t, 0) and t not in words.FUNCTION
        )

    def _find_beginnings(self) -> frozenset[str]:
        """First words, up to a break, behind which stand titles that stand elsewhere without them."""
        good: dict[str, set[int]] = defaultdict(set)
        bad: dict[str, int] = defaultdict(int)
        for name in self._stems:
            for at, text, broken in first_fields(name.text):
                node = self._title_behind(name, at, broken)
                if node:
                    good[text].add(node)
                else:
                    bad[text] += 1
        return frozenset(
            t for t, nodes in good.items()
            if len(nodes) >= MANY and bad[t] <= 0.5 * len(nodes)
            and not self._ends_here(self._node_of(t))
            and (t.split()[-1] not in words.FUNCTION or t.split()[-1] in words.PURPOSE_LINKS))

    def _node_of(self, text: str) -> int:
        node = 0
        for word in text.split():
            node = next((self._children[node][kind, word] for kind in "wk" if (kind, word) in self._children[node]), 0)
            if not node:
                break
        return node

    def _title_behind(self, name: Name, at: int, broken: bool) -> int:
        """The node of the title that stands behind token ``at``, or 0; where no break is before it, something surely
        no title must follow."""
        node = 0
        symbols = [pair for pair in symbols_of(name.text) if pair[0] >= at]
        if not symbols or symbols[0][1][0] != "w" or symbols[0][1][1] in self.marks:
            return 0
        for index, (_, symbol) in enumerate(symbols):
            if node and index and (symbol[0] in "ks" or symbol[1] in self.marks) and self._ends_here(node):
                return node
            node = self._children[node].get(symbol, -1)
            if node < 0:
                return 0
        return node if node and broken and self._ends_here(node) else 0

    def _ends_here(self, node: int) -> bool:
        return self._is_title(node) or ("e", END) in self._children[node]

    def _is_title(self, node: int) -> bool:
        if len(self._children[node]) < 2:
            return False
        known = self._titles.get(node)
        if known is None and self._last[node] in words.FUNCTION and len(self._last[node]) > 1:
            known = self._titles[node] = False  # no title ends so
        if known is None:
            kinds, share, worded, others = 0, 0, False, False
            for (kind, text), child in self._children[node].items():
                if kind in "wkv":
                    if kind in "kv" or text in self.marks:
                        worded, kinds, share = True, kinds + 1, share + self._weight[child]
                elif kind in "se" or (kind in "ny" and len(self._children[child]) == 1 and (
                        ("e", END) in self._children[child])):  # a counter
                    others, share = True, share + self._weight[child]
            known = worded and kinds + others >= 2 and share >= SHARE * self._weight[node]
            self._titles[node] = known
        return known

    def _starts(self, symbols: list[tuple[int, Symbol]], at: int) -> bool:
        kind, text = symbols[at][1]
        if text in words.FUNCTION and at + 1 < len(symbols):
            behind = symbols[at + 1][1]
            if self._pairs[text, behind[1]] < 2 or joins_words(text):
                return False  # "Barques du Tirage" is a title; "pour client" recurs
            kind, text = behind
        return kind in "kv" or (kind == "w" and text in self.marks)

    def _may_end(self, symbols: list[tuple[int, Symbol]], at: int) -> bool:
        kind, text = symbols[at][1]
        if kind in "snykv" or text in self.marks or text in self._companions:
            return True
        return text in words.FUNCTION and at + 1 < len(symbols)
