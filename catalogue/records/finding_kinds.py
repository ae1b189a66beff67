"""The kinds of finding, separate from their rows: lists of pieces need only these."""

SIDECAR_KINDS = ("sidecar missing", "sidecar damaged", "sidecars differ")

# Every kind of finding that the program opens.
KINDS = ("unreadable", "changed", "empty", "truncated", "damaged", "not a picture", "missing", "edited", "moved",
         "undecoded", "reader crashed", "no profile", "vanished", "changing", "single copy", "no off-site copy",
         *SIDECAR_KINDS, "offline", "link", "unreadable folder", "name not UTF-8", "unusable manifest")

# Bytes that are wrong or gone: shown before everything that is merely untidy.
DAMAGE_KINDS = ("unreadable", "changed", "empty", "truncated", "damaged", "missing")

# As a condition on a finding ``f``.
IS_DAMAGE = f"f.kind IN ({', '.join(repr(kind) for kind in DAMAGE_KINDS)})"
