"""Pictures and sheets: the pattern-maker's drawing of a job.

    face        paper, ink, warm grey, one accent; lettering
    views       from where a figure is looked at; projection and scale
    light       smooth normals and shadow maps, made once per mesh
    sky         the lights of one view
    ground      the paper, and the shadow on it
    render      one shaded, inked view of a mesh
    setting     a page: strokes, shapes, lettering, and where each text lies
    dimensions  dimension lines, scale bar, drawing scales
    marks       a shape for each verdict; numbered marks with leaders
    scales      colours for maps, and their legend
    urgent      which findings to read first
    plate       the A4 drawing of a piece: four views, measures, findings, title block
    card        what a route card says; route_card sets it as text, card_picture draws it
    gauge_sheet the gauge's plaque with its places numbered, and what to measure at each
    files       plates and cards as PNG

Kernels live in `_raster`, `_shading` and `_ink`.
"""
