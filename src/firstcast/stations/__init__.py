"""One file per station of production, in the maker's order.

    station   takes                                gives
    size      extents of the parts, scale rules    the factor from file units to millimetres
    intake    one part's mesh, the factor          part in millimetres, classed per shell; what was mended
    plan      summaries of the parts, the process  limits for every later station; does the master survive
    fuse      parts of a piece                     one body, no internal geometry
    allow     the process's size steps             one linear map from figure to master
    join      body, map, fittings                  one closed mesh at master size
    reduce    mesh                                 a light mesh within tolerance

Size comes before intake because limits such as `close_holes_mm` are millimetres on the figure.
A station is a plain function of values to values: it reads no file, prints nothing, keeps no
state. `firstcast.route` alone joins them. See `firstcast.stations.contract`.
"""
