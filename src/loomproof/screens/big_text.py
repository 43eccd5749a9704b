"""A name in letters five lines high, to be read from where the loom lies."""

from __future__ import annotations

_ROWS = """\
A 010 101 111 101 101
B 110 101 110 101 110
C 011 100 100 100 011
D 110 101 101 101 110
E 111 100 110 100 111
F 111 100 110 100 100
G 011 100 101 101 011
H 101 101 111 101 101
I 111 010 010 010 111
J 001 001 001 101 010
K 101 101 110 101 101
L 100 100 100 100 111
M 10001 11011 10101 10001 10001
N 1001 1101 1011 1001 1001
O 111 101 101 101 111
P 110 101 110 100 100
Q 111 101 101 111 001
R 110 101 110 101 101
S 011 100 010 001 110
T 111 010 010 010 010
U 101 101 101 101 111
V 101 101 101 101 010
W 10001 10001 10101 11011 10001
X 101 101 010 101 101
Y 101 101 010 010 010
Z 111 001 010 100 111
0 010 101 101 101 010
1 010 110 010 010 111
2 110 001 010 100 111
3 110 001 010 001 110
4 101 101 111 001 001
5 111 100 110 001 110
6 011 100 110 101 010
7 111 001 010 010 010
8 010 101 010 101 010
9 010 101 011 001 110
: 0 1 0 1 0
- 000 000 111 000 000
. 0 0 0 0 1
_ 000 000 000 000 111
/ 001 001 010 100 100
+ 000 010 111 010 000
"""
_GLYPHS = {row.split()[0]: row.split()[1:] for row in _ROWS.splitlines()}
_GLYPHS[" "] = ["00"] * 5


def big(text: str, width: int, ink: str = "█") -> tuple[str, ...]:
    """Return the lines of a text in large letters; none where it does not fit or has other letters.

    Small letters stand as large ones: where two names differ in that alone, the plain text beside it tells.
    """
    glyphs = [_GLYPHS.get(letter) for letter in text.upper()]
    if not text or any(glyph is None for glyph in glyphs):
        return ()
    rows = [" ".join(glyph[line] for glyph in glyphs if glyph is not None) for line in range(5)]
    if len(rows[0]) > width:
        return ()
    return tuple(row.replace("0", " ").replace("1", ink).rstrip() for row in rows)
