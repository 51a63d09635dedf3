"""Outlines from what is no drawing of pieces yet: pages of a PDF, photographs and scans of paper and of cloth.

Photographs and scans, for programs::

    from nesting.outlines.mat import Bars
    from nesting.outlines.trace import Tap, trace_photos, trace_scan
    from nesting.outlines.trace_answers import Answers, questions
    from nesting.outlines.trace_svg import preview_png, traced_svg
    from nesting.outlines.scrap import scrap_from_photo

    traced = trace_photos(["front.jpg"], bars=Bars(180.2, 240.4), taps=[Tap(1980, 1410)])
    piece = traced.pieces[0]         # outline, runs from corner to corner, notches, grain, promise (mm)
    asked = questions(piece, Answers("front"))                      # what a person must still say
    svg = traced_svg(traced, [Answers("front", line="cut", fold="1", notches="all", grain="marked")])
    traced.mat.views[0].to_pixels(points)                           # draw millimetres over the photograph

``paths`` may be files, folders or bytes. Refusals are ``PatternError`` with a code and what to do. ``mat_pdf`` makes
the mat to print.
"""
