"""What outlines there are nets for, and what their strips are like."""

# How far nets see to either side, over the size of what is outlined, and rows of a wide strip.
REACHES = {"rim": 0.14, "coin": 0.35, "rectangle": 0.3, "hole": 0.6, "bore": 0.2}
WIDE_ROWS = 150
CORNERS = 4
# Steps from row to row of strips that are seen from near, and rows of a wide one.
NEAR_STEPS_MM = {"rim": 0.1, "inner": 0.15, "card": 0.075, "coin": 0.05}
# The same of edge views: from the rim's middle outward, where faces end, the outline's ends, and the hat.
NEAR_STEPS_MM |= {"face_side": 0.8, "face_end": 0.15, "rim_end": 0.4, "hat_side": 1.0, "hat_top": 0.15}
EDGE_KINDS = ("face_side", "face_end", "rim_end", "hat_side", "hat_top")
NEAR_WIDE_ROWS = 130
# Compressed pictures are made of blocks of so many pixels.
BLOCK = 8
# File that tells of a folder's strips.
TOLD = "told.npz"
