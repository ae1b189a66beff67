"""Every limit that decides a likeness, and how it was chosen.

"Tuned" means: chosen on the tuning half of the pictures of ``scripts/bench_likeness.py``, never on the held-out
half whose figures are published.
"""

# --- features ------------------------------------------------------------------------------------------
CLAHE_CLIP = 2.0        # usual starting value; 4 doubled the features in scanner noise of plain passages
ORB_SIDES = (1024, 640, 400, 250)  # long sides, px: steps of 1.6, each ORB covers two levels of 1.19 of it
ORB_KEPT = 80           # a side; 320 in all, 12.3 kB in the index
SIFT_KEPT = 900         # a scan

# --- retrieval -----------------------------------------------------------------------------------------
ORB_NEAREST = 8         # neighbours looked up for each feature
ORB_DISTANCE = 72       # bits of 256; unrelated descriptors lie about 128 apart
PROBES = 8              # lists of the inverted file searched for each feature
HASH_BITS = 14          # pHash bits apart, best of 8 orientations

# --- geometric fit -------------------------------------------------------------------------------------
RATIO = 0.8             # Lowe 2004, the usual value; .75 lost one in twenty re-scans, .85 doubled the work
TURN_BIN = 20.0         # degrees a match may differ from the others
OCTAVE_BIN = 0.7        # octaves a match's scale may differ from the others
REPROJECTION = 3.0      # px; scanners differ by up to .3 % in scale along the bed
INLIERS_LEAST = 6       # below that a fit is not even tried on the pixels
INLIERS_SURE = 8        # below that the pixels must agree better, see relation
SCALE_LEAST, SCALE_MOST = 0.15, 6.7
STRETCH_MOST = 1.02     # a scanner's two axes differ by less; a wall photo is fitted elsewhere
POLISH_REACH = 12.0     # px the pixels may correct the features


def sane_scale(scale: float) -> bool:
    """Whether one preview can show the artwork at this many times the scale of the other."""
    return SCALE_LEAST <= scale <= SCALE_MOST

# --- aligned comparison --------------------------------------------------------------------------------
OVERLAP_LEAST_PX = 48   # px a side of the coarser preview: less cannot be judged
BLOCKS_ACROSS = 22      # blocks across the overlap, within the next two
BLOCK_LEAST, BLOCK_MOST = 12, 40  # px
MIDDLE_BLUR = 1.5       # px: leaves out grain and raking light on the weave
CONTRAST_LEAST = 3.0    # levels of 255: a block with less says nothing of structure
ZNCC_ASTRAY = 0.35      # a block below it disagrees
COLOUR_ASTRAY = 9.0     # ΔE*ab a block may keep after the smooth change of colour

# --- relation ------------------------------------------------------------------------------------------
BLOCKS_TO_TELL = 24     # blocks with structure; with fewer any two plain pictures "agree"
ZNCC_LEAST = 0.70       # median; unrelated pictures laid on each other stay below .3
ZNCC_FEW_INLIERS = 0.85 # median, where fewer than INLIERS_SURE features agree
ZNCC_LOW_LEAST = 0.20   # 10th percentile
PATCH_MOST = 0.008      # tuned: largest among re-scans, tiles and details .006, smallest in a series .012
COLOUR_PATCH_MOST = 0.008  # tuned: .002 against .010
HUE_TURN_MOST = 25.0    # degrees; tuned: re-scans and wrong profiles up to 12, colourways from 46
DELTA_E_MOST = 12.0     # two plain fields further apart are not the same work under any light
CONTAINED = 0.90        # share of the smaller that must lie on the larger
APART = 0.70            # below it on both sides the two are neighbours
WHOLE = 0.80            # both show the whole, but for margins
CROP_LEAST = 0.50       # one capture cropped to no less is reworked; to less, a detail
TILE_DETAIL = 0.70      # a tile is at least this fine against the whole
SECONDS_APART = 60      # two captures of one original are further apart in time
ASKEW_MOST = 0.02       # degrees off a quarter turn; tuned: edits up to .011, re-scans from .035 (3 in 100 by luck)
GRAIN_LEAST = 0.10      # tuned: edits from .17 where measurable; luck alone gives −.7 to .9, hence both tests
