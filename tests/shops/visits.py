"""The visits of an invented shop: what is told, checked, suspected and done, and who comes back."""

import zlib

import numpy as np

from shops.kinds import WINDOW

DAYS = 730


def written(shop, there, main, facts, rng, tech):
    """One visit to each machine: what is told, what is checked, what is suspected."""
    w, n = shop.true, len(there)
    on, code = w.states(there)
    told, _text = {}, {}
    logp = np.log(np.tile(shop.believe, (n, 1)))
    for f, (_vals, v, known) in facts.items():
        t = np.log(np.maximum(shop.file.fact_table(f)[1], 1e-9))
        logp[known] += t[:, v[known]].T
    for name in w.k["symptom"]:
        v = w.see(name, on, code, n, rng)
        r = np.where(v > 0, shop.r_yes[name], shop.r_no[name])
        known = (rng.random(n) < r) & shop.columns[name] & fits(w.k["symptom"][name], facts, n)
        told[name] = np.where(known, v, -1)
        logp[known] += np.log(np.maximum(shop.alone[name][:, v[known]].T, 1e-6))
    if shop.s["hunch"]:
        logp[np.arange(n), main] += shop.s["hunch"]
    found = {c: np.full(n, -1) for c in shop.checks}
    hidden = {c: w.see(c, on, code, n, rng) for c in shop.checks}
    allowed = np.stack([fits(w.k["check"][c], facts, n) for c in shop.checks], 1)
    many = np.clip(1 + rng.poisson(np.array(shop.s["checks"])[tech] - 1), 1, 4)
    minutes = np.array([w.k["check"][c]["minutes"] for c in shop.checks])
    for step in range(4):
        p = np.exp(logp - logp.max(1, keepdims=True))
        p /= p.sum(1, keepdims=True)
        score = worth(shop, p) / (minutes + 4) ** 0.6 * shop.taste[tech]
        ok = allowed.copy()
        for j, c in enumerate(shop.checks):
            ok[:, j] &= found[c] < 0
            for other, bad in w.k["check"][c].get("unless", {}).items():
                seen = told.get(other, found.get(other))
                if seen is not None:
                    ok[:, j] &= ~np.isin(seen, [w.outs[other].index(b) for b in bad])
        score = np.where(ok, score, 0) ** 1.5 + 1e-12 * ok
        cum = np.cumsum(score / score.sum(1, keepdims=True), 1)
        pick = np.minimum((rng.random(n)[:, None] > cum).sum(1), len(shop.checks) - 1)
        for j, c in enumerate(shop.checks):
            a = np.flatnonzero((pick == j) & (step < many))
            found[c][a] = hidden[c][a]
            logp[a] += np.log(np.maximum(shop.alone[c][:, hidden[c][a]].T, 1e-6))
    # what is written down of it: a good result may stay unwritten
    ink = {c: np.where((v == 0) & (rng.random(n) > shop.s["good"]), -1, v) for c, v in found.items()}
    p = np.exp(logp - logp.max(1, keepdims=True))
    spent = sum(np.where(found[c] >= 0, m, 0) for c, m in zip(shop.checks, minutes, strict=False))
    return told, ink, p / p.sum(1, keepdims=True), spent


def fits(o, facts, n):
    ok = np.ones(n, bool)
    for f, want in o.get("needs", {}).items():
        vals, v, _ = facts[f]
        ok &= v == vals.index(want)
    return ok


def worth(shop, p):
    """Bits each check is expected to say of a single cause, under p [job, main] and the file's chances."""
    out = np.zeros((len(p), len(shop.checks)))
    for j, c in enumerate(shop.checks):
        t = np.maximum(shop.alone[c], 1e-9)
        q = p @ t
        out[:, j] = (p @ (t * np.log(t)).sum(1)) - (q * np.log(np.maximum(q, 1e-12))).sum(1)
    return np.maximum(out, 0)


def repaired(shop, there, p, facts, rng, tech):
    """Repairs of each visit [job, repair] and the faults left. A wrong part leaves all that was there."""
    n = len(there)
    can = np.stack([fits(shop.true.k["repair"][r], facts, n) for r in shop.repairs], 1)
    done = np.zeros((n, len(shop.repairs)), bool)
    left = there.copy()
    wrong = rng.random(n) < np.array(shop.s["wrong"])[tech]
    suspicion = (p[:, : len(shop.true.modes) + 1] @ shop.fixes.T) * shop.like**0.25
    for i in range(n):
        if wrong[i]:
            useless = can[i] & ~(shop.fixes[:, there[i]].any(1))
            wt = suspicion[i] * useless
            done[i, rng.choice(len(wt), p=wt / wt.sum())] = True
            continue
        present = np.flatnonzero(there[i][:-1])
        if there[i][-1]:
            left[i, -1] = False  # the cause that the file does not list: put right, no repair's name
        first = True
        for m in rng.permutation(present):
            if (done[i] & shop.fixes[:, m]).any():
                continue
            if not first and rng.random() > shop.companion_done:
                continue
            first = False
            wt = shop.like * shop.fixes[:, m] * can[i]
            if wt.sum() > 0:
                done[i, rng.choice(len(wt), p=wt / wt.sum())] = True
        if rng.random() < shop.extra:
            wt = suspicion[i] * can[i] * ~done[i]
            done[i, rng.choice(len(wt), p=wt / wt.sum())] = True
    took = done & (rng.random(done.shape) < shop.success)
    left &= ~((took.astype(int) @ shop.fixes.astype(int)) > 0)
    return done, left, wrong


def draw_facts(shop, main, rng):
    w, facts = shop.true, {}
    for f in (*w.k["context"], *w.k["equipment"]):
        vals, t = w.fact_table(f)
        cum = np.cumsum(t[main], 1)
        v = np.minimum((rng.random(len(main))[:, None] > cum).sum(1), len(vals) - 1)
        facts[f] = (vals, v, (rng.random(len(main)) < shop.r_fact[f]) & shop.columns[f])
    return facts


def lacking(shop, there, facts):
    """No fault in a part that the machine does not have."""
    for f, e in shop.true.k["equipment"].items():
        vals, v, _ = facts[f]
        for value, parts in e.get("lacks", {}).items():
            for part in parts:
                cols = [shop.true.at[m] for m in shop.true.parts[part]]
                there[np.ix_(v == vals.index(value), cols)] = False
    return there


def draw(shop, jobs, seed):
    """Rows of the log, and the truth of each."""
    rng = np.random.default_rng([seed, zlib.crc32(shop.name.encode())])
    w = shop.true
    main = rng.choice(len(w.mains), jobs, p=w.share)
    facts = draw_facts(shop, main, rng)
    there = lacking(shop, w.draw_faults(main, rng), facts)
    day = np.sort(rng.integers(0, DAYS, jobs))
    cust = rng.permutation(jobs) + 1000
    tech = (rng.random(jobs) < 0.45).astype(int)
    visits, idx, number = [], np.arange(jobs), 1
    while len(idx) and number <= 30:
        sub = {f: (vals, v[idx], known[idx]) for f, (vals, v, known) in facts.items()}
        told, found, p, spent = written(shop, there, main[idx], sub, rng, tech)
        done, left, wrong = repaired(shop, there, p, sub, rng, tech)
        still = left.any(1)
        back = rng.random(len(idx)) < np.where(still, 0.8, 0.03)
        wait = np.minimum(1 + rng.exponential(8, len(idx)).astype(int), WINDOW - 1)
        back &= (day + wait) < DAYS  # after the last day nobody has come back yet
        mins = spent + done @ np.array([w.k["repair"][r]["minutes"] for r in shop.repairs]) + 22
        mins = np.round(mins * np.exp(rng.normal(0, 0.2, len(idx))) / 5) * 5
        for a in range(len(idx)):
            visits.append(
                {
                    "i": idx[a],
                    "n": number,
                    "day": int(day[a]),
                    "a": a,
                    "told": told,
                    "found": found,
                    "done": done[a],
                    "back": bool(back[a]),
                    "there": there[a].copy(),
                    "left": left[a].copy(),
                    "wrong": bool(wrong[a]),
                    "minutes": int(max(15, mins[a])),
                    "facts": sub,
                    "tech": int(tech[a]),
                }
            )
        again = np.flatnonzero(back)
        # who comes back with nothing left: half have a new fault, half only think so
        fresh = rng.choice(len(w.mains), len(again), p=w.share)
        new = lacking(shop, w.draw_faults(fresh, rng), {f: (vals, v[again], k) for f, (vals, v, k) in sub.items()})
        gone = ~left[again].any(1) & (rng.random(len(again)) < 0.5)
        there = np.where(gone[:, None], new, left[again])
        day, idx = day[again] + wait[again], idx[again]
        tech = np.where(rng.random(len(again)) < 0.7, tech[again], 1 - tech[again])
        number += 1
    return main, cust, visits
