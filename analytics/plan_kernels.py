"""Compiled parts of planning long lists.

They stand in one file because compiled code is cached by file: a cache does not notice that a function which it calls
in another file has changed.
"""

import numba
import numpy as np

# A remedy alone pays when P(cured) x price of handing on exceeds its minutes; opening shared with later ones allows
# less.
WORTHWHILE = 0.3
# Share by which an unopened situation of the first level may prove cheaper, by phase: on random problems that could be
# solved exactly, one step ahead was 10 to 20 % above the optimum near the root and hardly at all near the leaves.
HOPES = np.array([0.0, 0.05, 0.15, 0.3, 0.5])
DECAY = 0.6
# Checks looked into in one situation, and how far above the best one (one step ahead) they may lie.
WIDTH = 6
NEAR = 0.25
# A branch rarer than this stays at its bound: at most some tenths of a percent of the cost lie there.
BRANCH_FLOOR = 0.002
_UNOPENED = -1


@numba.njit(cache=True, error_model="numpy", nogil=True)
def order_remedies(columns, done, opened, tables):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201
    """Remedies in descending P(cured) / minutes, opening included, cut where handing on is cheaper.

    Parameters
    ----------
    columns : (column,) belief, any scale
    done : (check,) not to be used
    opened : mask of the groups open now
    tables : `lookahead_tables`

    Returns
    -------
    (minutes times mass of the order then handing on, positions of the checks in the order)
    """
    remedies, start, column, rate, price, deceive, sendout_minutes, minutes, after = tables[:9]
    shares = tables[11]
    left, used = columns.copy(), done.copy()
    mass = left.sum()
    floor = 1e-9 * mass
    order = np.empty(len(remedies), dtype=np.int64)
    spent, before = np.empty(len(remedies)), np.empty(len(remedies))
    gains = np.zeros(len(used))
    for j in remedies:
        for at in range(start[j], start[j + 1]):
            gains[j] += left[column[at]] * rate[at]
    count = 0
    while count < len(remedies):
        top, pick = 0.0, -1
        for j in remedies:
            if used[j]:
                continue
            cured = (gains[j] - deceive * mass) / (1.0 - deceive)
            if cured > floor and cured > top * minutes[j, opened]:
                top, pick = cured / max(minutes[j, opened], 1e-9), j
        # The best one cures too little to pay its minutes, even if others share the opening: hand on.
        if pick < 0 or top * sendout_minutes < WORTHWHILE * mass:
            break
        for at in range(start[pick], start[pick + 1]):
            left[column[at]] *= 1.0 - rate[at]
        spent[count] = minutes[pick, opened] * mass + price[pick] * (mass - gains[pick])
        before[count], order[count] = mass, pick
        mass -= gains[pick]
        for j in remedies:
            if shares[pick, j]:
                gains[j] = 0.0
                for at in range(start[j], start[j + 1]):
                    gains[j] += left[column[at]] * rate[at]
        opened = after[pick, opened]
        used[pick] = True
        count += 1
    value, length = sendout_minutes * mass, count
    for at in range(count - 1, -1, -1):
        value += spent[at]
        if sendout_minutes * before[at] <= value:
            value, length = sendout_minutes * before[at], at
    return value, order[:length]


@numba.njit(cache=True, error_model="numpy", nogil=True)
def look_one_step(columns, done, opened, tables):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201
    """(value, values by check): make a check, then remedies in p/c order. Times mass; infinite where not possible."""
    price, minutes, after, result_count, likelihood = tables[4], tables[7], tables[8], tables[9], tables[10]
    values = np.full(len(done), np.inf)
    mass = columns.sum()
    best = order_remedies(columns, done, opened, tables)[0]
    for j in range(len(done)):
        if done[j] or minutes[j, opened] * mass >= best:
            continue
        done[j] = True
        value = minutes[j, opened] * mass
        for result in range(1, result_count[j] + 1):
            then = columns * likelihood[j, result]
            value += order_remedies(then, done, after[j, opened], tables)[0] + price[j] * then.sum()
        done[j] = False
        values[j] = value
        best = min(best, value)
    return best, values


@numba.njit(cache=True, error_model="numpy", nogil=True)
def grow_situations(columns, done, opened, tables, limit):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN201
    price, minutes, after, result_count, likelihood = tables[4], tables[7], tables[8], tables[9], tables[10]
    checks, results = likelihood.shape[0], likelihood.shape[1] - 1
    arc_limit = limit * WIDTH + checks
    room = arc_limit * results + 2
    slots = 1
    while slots < 2 * room:
        slots *= 2
    # by situation
    key, table = np.zeros(room, dtype=np.uint64), np.full(slots, -1, dtype=np.int64)
    beliefs, gone = np.empty((room, len(columns))), np.empty((room, checks), dtype=np.bool_)
    mask, level, mass = np.empty(room, dtype=np.int64), np.empty(room, dtype=np.int64), np.empty(room)
    value, hope, tail, ahead = np.empty(room), np.empty(room), np.empty(room), np.empty((room, checks))
    settled, waiting = np.zeros(room, dtype=np.bool_), np.zeros(room, dtype=np.bool_)
    first_arc, arc_count = np.zeros(room, dtype=np.int64), np.full(room, _UNOPENED, dtype=np.int64)
    best_arc, parent_head = np.full(room, -1, dtype=np.int64), np.full(room, -1, dtype=np.int64)
    # by arc, and parents as linked lists
    arc_check, arc_minutes = np.empty(arc_limit, dtype=np.int64), np.empty(arc_limit)
    arc_child = np.full((arc_limit, results), -1, dtype=np.int64)
    parent_next, parent = np.empty(room, dtype=np.int64), np.empty(room, dtype=np.int64)
    stack = np.empty(room, dtype=np.int64)
    nodes = (value, hope, tail, settled, best_arc, first_arc, arc_count, arc_child, arc_minutes)
    beliefs[0], gone[0], mask[0], level[0], mass[0] = columns, done, opened, 0, columns.sum()
    value[0], ahead[0] = look_one_step(columns, done, opened, tables)
    situations, arcs, parents, opened_count = 1, 0, 0, 0
    floor = BRANCH_FLOOR * mass[0]
    for phase in range(len(HOPES)):
        share = HOPES[phase]
        # children lie one level below their parents, whatever the order in which they were met
        for at in np.argsort(-level[:situations]):
            if arc_count[at] == _UNOPENED:
                settled[at] = mass[at] <= floor
                hope[at] = value[at] * (1.0 - (0.0 if settled[at] else share * DECAY ** (level[at] - 1)))
            else:
                _settle(at, nodes)
        settled[0] = settled[0] and arc_count[0] != _UNOPENED
        while opened_count < limit and not settled[0]:
            at = 0
            while arc_count[at] != _UNOPENED:
                heaviest = -1
                for child in arc_child[best_arc[at]]:
                    if child >= 0 and not settled[child] and (heaviest < 0 or mass[child] > mass[heaviest]):
                        heaviest = child
                at = heaviest
            opened_count += 1
            first_arc[at], arc_count[at] = arcs, 0
            tail[at] = order_remedies(beliefs[at], gone[at], mask[at], tables)[0]
            ranked = np.argsort(ahead[at])
            for j in ranked[: checks if at == 0 else WIDTH]:
                if not np.isfinite(ahead[at, j]) or (at > 0 and ahead[at, j] > value[at] * (1.0 + NEAR)):
                    break
                arc_check[arcs], arc_minutes[arcs] = j, minutes[j, mask[at]] * mass[at]
                then_mask = after[j, mask[at]]
                for result in range(1, result_count[j] + 1):
                    child_key = key[at] ^ _mix(j * 8 + result) ^ _mix(1000003 + mask[at]) ^ _mix(1000003 + then_mask)
                    slot = np.int64(child_key & np.uint64(slots - 1))
                    while table[slot] >= 0 and key[table[slot]] != child_key:
                        slot = (slot + 1) & (slots - 1)
                    child = table[slot]
                    if child < 0:
                        then = beliefs[at] * likelihood[j, result]
                        here = then.sum()
                        if here <= 0.0:
                            continue
                        child = situations
                        table[slot], key[child] = child, child_key
                        beliefs[child], gone[child], mask[child], mass[child] = then, gone[at], then_mask, here
                        gone[child, j] = True
                        level[child] = level[at] + 1
                        value[child], ahead[child] = look_one_step(then, gone[child], then_mask, tables)
                        settled[child] = here <= floor
                        unsure = 0.0 if settled[child] else share * DECAY ** (level[child] - 1)
                        hope[child] = value[child] * (1.0 - unsure)
                        situations += 1
                    arc_minutes[arcs] += price[j] * mass[child]
                    arc_child[arcs, result - 1] = child
                    parent[parents], parent_next[parents], parent_head[child] = at, parent_head[child], parents
                    parents += 1
                arcs += 1
                arc_count[at] += 1
            count = 1
            stack[0] = at
            while count > 0:
                count -= 1
                at = stack[count]
                waiting[at] = False
                if not _settle(at, nodes):
                    continue
                link = parent_head[at]
                while link >= 0:
                    if not waiting[parent[link]]:
                        waiting[parent[link]] = True
                        stack[count] = parent[link]
                        count += 1
                    link = parent_next[link]
    return (situations, arcs), value, first_arc, arc_count, arc_check, arc_child, arc_minutes


@numba.njit(cache=True, error_model="numpy", nogil=True)
def _settle(at, nodes):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """Bound and hope of an opened situation from its arcs; whether anything changed."""
    value, hope, tail, settled, best_arc, first_arc, arc_count, arc_child, arc_minutes = nodes
    bound, wish, chosen, done = tail[at], tail[at], -1, True
    for arc in range(first_arc[at], first_arc[at] + arc_count[at]):
        arc_bound, arc_wish = arc_minutes[arc], arc_minutes[arc]
        for child in arc_child[arc]:
            if child >= 0:
                arc_bound += value[child]
                arc_wish += hope[child]
        bound = min(bound, arc_bound)
        if arc_wish < wish:
            wish, chosen = arc_wish, arc
    if chosen >= 0:
        for child in arc_child[chosen]:
            if child >= 0 and not settled[child]:
                done = False
    changed = bound != value[at] or wish != hope[at] or done != settled[at]
    value[at], hope[at], settled[at], best_arc[at] = bound, wish, done, chosen
    return changed


@numba.njit(cache=True, nogil=True)
def _mix(number):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
    """64 well-mixed bits of a small number (the finaliser of splitmix64), so that situations can be told apart."""
    z = np.uint64(number) * np.uint64(0x9E3779B97F4A7C15) + np.uint64(0x9E3779B97F4A7C15)
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))
