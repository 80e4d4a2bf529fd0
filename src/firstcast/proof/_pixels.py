"""What sections and polygons cover of each pixel, and how that compares with an image: the proof's own.

A frame (h, w + 2) float32 holds, per pixel, by how much the covered share changes from the pixel before it in its row. An edge
with the inside on its left changes it in the pixels that it passes, by the height that it passes in the row. So a frame is the
sum of its edges', in any order, and one sum along each row gives the shares. Reaches (h, 2) int64 say which columns of a row
hold anything.
"""

import numpy as np

from firstcast.compiling import kernel

WHITE = 255.0


@kernel
def _add_within_pixel(x0, x1, height, row, reach):
    """Add a piece of an edge that stays within one column."""
    middle = 0.5 * (x0 + x1)
    column = np.int64(np.floor(middle))
    later = height * (middle - column)
    row[column] += height - later
    row[column + 1] += later
    reach[0], reach[1] = min(reach[0], column), max(reach[1], column + 2)


@kernel
def _add_within_row(x0, x1, height, row, reach):
    """Add a piece of an edge that stays within one row; 1 if part of it lies outside of the frame."""
    width = np.float64(row.shape[0] - 2)
    left, right = min(x0, x1), max(x0, x1)
    outside = 1 if left < 0.0 or right > width else 0
    if right > width:
        # what it ends would go on to the frame's edge
        reach[1] = row.shape[0]
    # what begins before the row holds for all of it, and what begins behind it for nothing
    if right <= 0.0:
        _add_within_pixel(0.0, 0.0, height, row, reach)
        return outside
    if left >= width:
        return outside
    per_column = height / (right - left) if right > left else 0.0
    at, end = max(left, 0.0), min(right, width)
    if left < 0.0:
        _add_within_pixel(0.0, 0.0, -left * per_column, row, reach)
    column = np.floor(at) + 1.0
    while column < end:
        _add_within_pixel(at, column, (column - at) * per_column, row, reach)
        at = column
        column += 1.0
    _add_within_pixel(at, end, (end - at) * per_column if right > left else height, row, reach)
    return outside


@kernel
def _add_edge(x0, y0, x1, y1, sign, frame, reaches):
    """Add the edge from (x0, y0) to (x1, y1), in pixels, `sign` times; gives how many pieces of it lie outside of the frame."""
    if y0 == y1:
        return 0
    rows = np.float64(frame.shape[0])
    # along a row the inside begins where the outline runs down
    turn = sign
    if y0 < y1:
        turn = -sign
    else:
        x0, y0, x1, y1 = x1, y1, x0, y0
    outside = 1 if y0 < 0.0 or y1 > rows else 0
    for y in range(np.int64(max(np.floor(y0), 0.0)), np.int64(min(np.ceil(y1), rows))):
        low, high = max(y0, np.float64(y)), min(y1, np.float64(y + 1))
        at_low = x0 + (x1 - x0) * ((low - y0) / (y1 - y0)) if low > y0 else x0
        at_high = x0 + (x1 - x0) * ((high - y0) / (y1 - y0)) if high < y1 else x1
        outside += _add_within_row(at_low, at_high, turn * (high - low), frame[y], reaches[y])
    return outside


@kernel
def _cross(low, high, height_mm, place):
    """Write x, y where the edge from a corner below a height to one above it passes it."""
    share = (height_mm - low[2]) / (high[2] - low[2])
    place[0] = low[0] + share * (high[0] - low[0])
    place[1] = low[1] + share * (high[1] - low[1])


@kernel
def add_section(points, triangles, rows, height_mm, matrix, move, per_mm, sign, frame, reaches):
    """Add the section of some triangles of a closed mesh by a plane, `sign` times; gives how many pieces lie outside.

    A place on the platform is matrix (2, 2) · point + move (2,). A corner on the plane counts as above it.
    """
    ends = np.empty((2, 2))
    placed = np.empty((2, 2))
    outside = 0
    for n in range(rows.shape[0]):
        up, down = 0, 0
        for k in range(3):
            here, after = points[triangles[rows[n], k]], points[triangles[rows[n], (k + 1) % 3]]
            # corners run counter-clockwise seen from outside: with the inside on its left the section comes into the
            # triangle over the edge that runs down, and leaves it over the one that runs up
            if here[2] >= height_mm and after[2] < height_mm:
                _cross(after, here, height_mm, ends[0])
                down += 1
            elif here[2] < height_mm and after[2] >= height_mm:
                _cross(here, after, height_mm, ends[1])
                up += 1
        if up == 0 or down == 0:
            continue
        for k in range(2):
            for axis in range(2):
                place = matrix[axis, 0] * ends[k, 0] + matrix[axis, 1] * ends[k, 1] + move[axis]
                placed[k, axis] = place * per_mm[axis]
        outside += _add_edge(placed[0, 0], placed[0, 1], placed[1, 0], placed[1, 1], sign, frame, reaches)
    return outside


@kernel
def add_loops(corners, starts, move, per_mm, sign, frame, reaches):
    """Add closed loops, corners (n, 2) in mm from starts[k] to starts[k + 1], `sign` times; gives how many pieces lie outside."""
    outside = 0
    for k in range(starts.shape[0] - 1):
        for n in range(starts[k], starts[k + 1]):
            after = n + 1 if n + 1 < starts[k + 1] else starts[k]
            x0, y0 = (corners[n, 0] + move[0]) * per_mm[0], (corners[n, 1] + move[1]) * per_mm[1]
            x1, y1 = (corners[after, 0] + move[0]) * per_mm[0], (corners[after, 1] + move[1]) * per_mm[1]
            outside += _add_edge(x0, y0, x1, y1, sign, frame, reaches)
    return outside


@kernel
def compare(frame, reaches, image, most, counts, worst):
    """Hold an image (h, w) uint8 against the shares of a frame, and empty the frame.

    counts (3,) int64 gets the pixels that are off by more than `most` levels, those that are lit or covered, and the sum of
    all levels; worst (5,) float64 the greatest difference in levels, its column and row, the level there and the one wanted.
    """
    height, width = image.shape
    off_count, lit_count, total = 0, 0, 0
    greatest = 0.0
    worst[:] = 0.0
    for y in range(height):
        first, stop = min(reaches[y, 0], width), min(reaches[y, 1], width)
        running = 0.0
        for x in range(first, stop):
            running += frame[y, x]
            level = np.float64(image[y, x])
            wanted = WHITE * min(max(running, 0.0), 1.0)
            off = abs(level - wanted)
            total += image[y, x]
            if level + wanted > 0.5:
                lit_count += 1
            if off > most:
                off_count += 1
            if off > greatest:
                greatest = off
                worst[0], worst[1], worst[2], worst[3], worst[4] = off, x, y, level, wanted
        frame[y, reaches[y, 0] : reaches[y, 1]] = 0.0
        beside = 0
        for x in range(first):
            beside += image[y, x]
        for x in range(max(first, stop), width):
            beside += image[y, x]
        if beside > 0:
            total += beside
            for x in range(width):
                level = np.float64(image[y, x])
                if level > 0.0 and (x < first or x >= stop):
                    off_count += 1
                    lit_count += 1
                    if level > greatest:
                        greatest = level
                        worst[0], worst[1], worst[2], worst[3], worst[4] = level, x, y, level, 0.0
        reaches[y, 0], reaches[y, 1] = frame.shape[1], 0
    counts[0], counts[1], counts[2] = off_count, lit_count, total


@kernel
def settle(frame, reaches, shares):
    """Write a frame's shares (h, w) float32, as they come, and empty the frame."""
    height, width = shares.shape
    for y in range(height):
        shares[y] = 0.0
        running = 0.0
        for x in range(min(reaches[y, 0], width), min(reaches[y, 1], width)):
            running += frame[y, x]
            shares[y, x] = running
        frame[y, reaches[y, 0] : reaches[y, 1]] = 0.0
        reaches[y, 0], reaches[y, 1] = frame.shape[1], 0
