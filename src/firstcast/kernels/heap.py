"""A binary heap of edges whose cost may change: lowest cost first, ties by edge number."""

from firstcast.compiling import kernel

ABSENT = -1


@kernel
def _before(cost, a, b):
    return cost[a] < cost[b] or (cost[a] == cost[b] and a < b)


@kernel
def _rise(heap, place, cost, slot):
    item = heap[slot]
    while slot > 0:
        parent = (slot - 1) >> 1
        other = heap[parent]
        if not _before(cost, item, other):
            break
        heap[slot] = other
        place[other] = slot
        slot = parent
    heap[slot] = item
    place[item] = slot


@kernel
def _sink(heap, place, cost, slot, size):
    item = heap[slot]
    while True:
        child = 2 * slot + 1
        if child >= size:
            break
        if child + 1 < size and _before(cost, heap[child + 1], heap[child]):
            child += 1
        other = heap[child]
        if not _before(cost, other, item):
            break
        heap[slot] = other
        place[other] = slot
        slot = child
    heap[slot] = item
    place[item] = slot


@kernel
def put(heap, place, cost, size, item, value):
    """Give `item` the cost `value`, entering it if it is absent; gives the new size."""
    slot = place[item]
    cost[item] = value
    if slot == ABSENT:
        heap[size] = item
        place[item] = size
        _rise(heap, place, cost, size)
        return size + 1
    _rise(heap, place, cost, slot)
    _sink(heap, place, cost, place[item], size)
    return size


@kernel
def drop(heap, place, cost, size, item):
    """Take `item` out if it is there; gives the new size."""
    slot = place[item]
    if slot == ABSENT:
        return size
    place[item] = ABSENT
    size -= 1
    if slot < size:
        last = heap[size]
        heap[slot] = last
        place[last] = slot
        _rise(heap, place, cost, slot)
        _sink(heap, place, cost, place[last], size)
    return size
