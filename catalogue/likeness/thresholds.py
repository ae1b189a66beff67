"""Every limit that decides a likeness, and how it was chosen.

"Tuned" means: chosen on the tuning pictures of ``scripts/bench_likeness.py``, never on the fresh ones whose figures are
published.
"""

# --- features ------------------------------------------------------------------------------------------
CLAHE_CLIP = 2.0        # usual starting value; 4 doubled the features in scanner noise of plain passages
FEATURES_SIDE = 768     # px; tuned: corners of tiles p95 .088 %, at 640 px .111 %; 1,024 px take .05 s more
SIFT_KEPT = 500         # a scan; 36 kB kept beside the preview; tuned: of 60 tiles 900 fitted 56, 500 fitted 57

# --- retrieval -----------------------------------------------------------------------------------------
ASKED = 900             # features of a picture looked up; tuned: all 1,400 of a photograph found no more
NEAREST = 3             # neighbours counted for each feature; the next one is the yardstick of its weight
BITS_APART = 84         # bits of 256; unrelated features lie about 110 apart
PROBES = 3              # lists of the inverted file searched for each feature; tuned: 6 found no more tiles
HASH_BITS = 14          # pHash bits apart, best of 8 orientations

# --- geometric fit -------------------------------------------------------------------------------------
RATIO = 0.8             # Lowe 2004, the usual value, for photographs
RATIO_AGREEING = 0.9    # for scans, where turn and scale must agree besides; tuned: no fit in 158 unrelated pairs
TURN_BIN = 20.0         # degrees a match may differ from the others
OCTAVE_BIN = 0.7        # octaves a match's scale may differ from the others
REPROJECTION = 3.0      # px; scanners differ by up to .3 % in scale along the bed
INLIERS_LEAST = 6       # below that a fit is not even tried on the pixels
INLIERS_SURE = 8        # below that the pixels must agree better, see relation
SCALE_LEAST, SCALE_MOST = 0.15, 6.7
STRETCH_MOST = 1.02     # a scanner's two axes differ by less; a wall photo is fitted elsewhere
POLISH_SIDE = 640       # px of the picture that is polished; 1024 took twice the time for no better place
POLISH_REACH = 12.0     # px the pixels may correct the features …
INLIERS_EXACT = 40      # fewer features give a scale less well than the two sizes in pixels, where they fit it …
SCALE_NEAR = 0.02       # … within this share
INLIERS_FIRM = 15       # so many agree on one place by no chance
INLIERS_LOCATED, POLISH_REACH_LOCATED = 25, 1.5  # … px where so many agree; tuned: tiles' corners p95 .137 to .111 %
TRACK_WINDOW = 31       # px around a corner that is followed
TRACK_FLOOR = 8.0       # levels of 255 added to a passage's strength; 4 followed the relief of soft work
TRACKED_MOST = 400      # corners followed; tuned: 200 turned tiles by .07° instead of .06°
TRACKED_LEAST = 20      # so many must agree, else the pixels as a whole decide …
TRACKED_AFFINE = 120    # … and so many show that two axes differ; tuned: re-scans' corners .020 to .006 %, median

ORIENTED_BELOW = 18     # fewer features, and a known scale: by orientations; tuned: tiles' corners p95 .111 to .043 %
ORIENTATIONS = 6        # tuned: 4 turned soft tiles by .10° instead of .08°, p95
ORIENTED_LONG = 9.0     # px from which a wave is a long one; in one with short ones, paint and relief may cancel
ORIENTED_SIDE, ORIENTED_ACROSS = 96, 3  # px of a block, and blocks in each direction; 4 took half the time more
ORIENTED_PASSES = ((22, 1.2, 0.2, 1), (4, 0.4, 0.05, 2), (3, 0.2, 0.02, 4))  # px, degrees, their step, steps a px
ORIENTED_LEAST = 20.0   # squared correlation, 1 by chance; tuned: another work reached 9, true places from 42


def sane_scale(scale: float) -> bool:
    """Whether one preview can show the artwork at this many times the scale of the other."""
    return SCALE_LEAST <= scale <= SCALE_MOST

# --- aligned comparison --------------------------------------------------------------------------------
OVERLAP_LEAST_PX = 48   # px a side of the coarser preview: less cannot be judged
BLOCKS_ACROSS = 22      # blocks across the overlap, within the next two
BLOCK_LEAST, BLOCK_MOST = 12, 40  # px
MIDDLE_BLUR = 3.0       # px: leaves out grain and raking light on the weave; at 1.5 it made false patches
CONTRAST_LEAST = 3.0    # levels of 255: a block with less says nothing of structure
ZNCC_ASTRAY = 0.5       # a block below it disagrees …
CONTRAST_ASTRAY = 5.0   # … if it has this much contrast, levels of 255
COLOUR_ASTRAY = 8.0     # CIEDE2000 a block may keep after the smooth change of colour
COLOUR_PULL = 0.0005    # how far that change is held to none

# --- relation ------------------------------------------------------------------------------------------
BLOCKS_TO_TELL = 24     # blocks with structure; with fewer any two plain pictures "agree"
BLOCKS_ALONE = 60       # … where no feature agrees
ZNCC_LEAST = 0.70       # median; unrelated pictures laid on each other stay below .3
ZNCC_FEW_INLIERS = 0.85 # median, where fewer than INLIERS_SURE features agree
ZNCC_LOW_LEAST = 0.20   # 10th percentile
PATCH_MOST = 0.008      # tuned: 2 of 217 re-scans, tiles, details and edits have any (.005, .009), a series from .010
COLOUR_PATCH_MOST = 0.004  # tuned: up to .0006 against .007
HUE_TURN_MOST = 25.0    # degrees; tuned: re-scans and wrong profiles up to 13, colourways from 46
CAST_MOST = 23.0        # a*, b*; tuned: up to 18.6 between captures, the colourways not told otherwise from 27.2
DELTA_E_MOST = 12.0     # two plain fields further apart are not the same work under any light
CONTAINED = 0.90        # share of the smaller that must lie on the larger
APART = 0.70            # below it on both sides the two are neighbours
WHOLE = 0.80            # both show the whole, except for margins
TRIMMED = 0.60          # … or so much, if the two share their middle: margins were trimmed
TILE_MOST = 0.95        # what is kept as a tile and shows no more is a part, whatever its share
CENTRED = 0.08          # share of a side the middles may lie apart
CROP_LEAST = 0.50       # one capture cropped to no less is reworked; to less, a detail
TILE_DETAIL = 0.70      # a tile is at least this fine against the whole
SECONDS_APART = 60      # two captures of one original are further apart in time
ASKEW_MOST = 0.02       # degrees off a quarter turn; tuned: edits up to .011, re-scans from .035 (3 in 100 by luck)
GRAIN_SEEN = 0.25       # levels of 255: weaker grain proves nothing
GRAIN_LEAST = 0.10      # tuned: edits from .17 where measurable; luck alone gives −.7 to .9, hence both tests

# --- soft pictures -------------------------------------------------------------------------------------
SHAPES_SIDE = 256       # px, long side, where large shapes are brought together
SOFT_SHARE = 0.35       # of the passages may hold structure in a soft picture
THUMB_APART = 14.0      # mean difference of 8-bit CIELAB cells
ASPECT_APART = 0.05     # log of the proportions: margins differ
DIRECT_SIDE = 512       # px, long side
DIRECT_REACH = 0.06     # share of the side the frames may be shifted
TEXTURE_HOLD = 7.0      # standard deviations at which a shift is believed
TEXTURE_SURE = 9.0      # … and at which it shows the same surface

# --- a part placed at its known scale -------------------------------------------------------------------
LOCATE_SIDE = 512       # px, long side of the whole
LOCATE_LEAST_PX = 48    # px there of the part's short side …
LOCATE_MOST = 0.8       # … and the share of the whole at which it is no part any more
LOCATE_NEAR = 12        # px around a place that count as the same
PPI_SCANNED = 120.0     # ppi below it is a screen's or nobody's
LOCATE_CLEAR = 0.12     # correlation above all others; tuned: unrelated pairs up to .10, 176 of 184 tiles above
LOCATE_TRIES = 6        # scans, the likeliest, in which a part without any master is looked for so

# --- the index on disk ---------------------------------------------------------------------------------
FLAT_ROWS = 6_000       # descriptors searched one by one rather than through lists
LIST_ROWS = 500         # descriptors a list; tuned: 1,500 found no more for 1.5 times the work …
LISTS_MOST = 8192       # … which ever more lists to choose from would undo
LISTS_SHARED = 1024     # lists from which a part takes over the finest centres of others; fewer are soon compared
SEGMENT_SMALL = 400     # scans; segments of up to this many are merged as they pile up
SEGMENTS_SMALL = 12
SEGMENT_MOST = 10_000   # scans; larger ones would take more memory to write, smaller ones more time to search

# --- groups and tiles ----------------------------------------------------------------------------------
MUST_MEET = 0.7         # two scans that would cover each other this far must have been found alike themselves
POSITIONS_APART = 0.03  # of the long side: two findings within it lead to the same place
GAP_LEAST = 0.002       # share of the master a gap must have to be named
WEAVE_STANDS = 3.5      # log of power above the surroundings; unwoven pictures reach 2.5, a faint weave 5.1

# --- a picture on a wall -------------------------------------------------------------------------------
PHOTO_INLIERS = 9       # a homography has eight unknowns: more features are wanted than for a scan
PHOTO_CORRELATION = 0.45 # median correlation; reflections and soft focus cost much of it
SIFT_PHOTO = 1400       # features of a photograph: much of it is wall and frame

# --- the catalogue -------------------------------------------------------------------------------------
CANDIDATES = 12         # scans fitted for each new one, and half as many by hash and by colours
SURE_ENOUGH = 0.95      # surer pairs are not asked about where they only confirm how scans are filed
BATCH = 200             # scans brought into the index at once
FEATURES_CACHED = 500   # scans whose features an update holds: 37 MB
PREVIEWS_CACHED = 40    # … and whose previews: 95 MB
