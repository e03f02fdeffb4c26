"""A model that several tests of last cuts take: copies of boxes, and one spacer, in slots."""

BOXES_IN_FRAMES = """
[part.frame]
copies = ["left", "right"]
size.gap = { full = "20.1 mm", kind = "slot", rule = [], limits = "±0.01 mm" }
[part.box]
copies = ["left", "right"]
size.width = { full = "20 mm", kind = "external", rule = "milled" }
[part.spacer]
size.width = { full = "20 mm", kind = "external", rule = "milled" }
[pair.box_in_frame]
inner = "box.width"
outer = "frame.gap"
fit = "0.07 to 0.13 mm"
basis = "last cut box.width"
[pair.spacer_in_frame]
inner = "spacer.width"
outer = "frame.gap"
fit = "0.07 to 0.13 mm"
basis = "last cut spacer.width"
"""
