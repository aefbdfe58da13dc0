"""The count of a plain manager: shares from the repairs that held, the file's shares worth so many jobs."""

import csv
import datetime
import json

from shops.world import NOTHING, UNLISTED, World, kl, read


def held(rows):
    """First visits that held. Without a callback column: no second row of that customer within 30 days; not the last 30 days."""
    day = [datetime.date.fromisoformat(r["date"]) for r in rows]
    by, last = {}, max(day)
    for i in sorted(range(len(rows)), key=lambda i: (day[i], rows[i]["ticket"])):
        by.setdefault(rows[i].get("customer") or f"row {i}", []).append(i)
    for seq in by.values():
        i = seq[0]
        if "callback" in rows[i]:
            ok = rows[i]["callback"] != "yes"
        else:
            ok = (last - day[i]).days >= 30 and not (len(seq) > 1 and (day[seq[1]] - day[i]).days <= 30)
        if ok:
            yield rows[i]


def count(path, worth=100.0, k=None):
    """causes, estimate of their shares."""
    w = World(k or read())
    n = worth * w.share
    with open(path, newline="") as f:
        for r in held(list(csv.DictReader(f))):
            done = [x.strip() for x in r["repairs"].split(";") if x.strip()]
            sets = [[m for t in w.k["repair"][x]["fixes"] for m in w.under(t)] for x in done] or [[NOTHING, UNLISTED]]
            for s in sets:
                at = [w.at[m] for m in dict.fromkeys(s)]
                n[at] += w.share[at] / w.share[at].sum() / len(sets)
    return w.mains, n / n.sum()


def divergence(path, truth, worth=100.0):
    """KL(truth || counted), KL(truth || file)."""
    with open(truth) as f:
        t = json.load(f)
    mains, q = count(path, worth)
    return kl([t["shares"][m] for m in mains], q), t["kl_truth_file"]
