"""The visits of an invented shop as the log that it writes, and the truth beside it."""

import csv
import datetime
import json

import numpy as np

from shops.kinds import WINDOW
from shops.visits import draw
from shops.world import UNLISTED

START = datetime.date(2024, 1, 2)


def log(shop, jobs, seed, to, truth):
    main, cust, visits = draw(shop, jobs, seed)
    w, style = shop.true, shop.s["rows"]
    if style == "column":
        visits = [v for v in visits if v["n"] == 1]
    visits.sort(key=lambda v: (v["day"], v["i"], v["n"]))
    cols = [c for c, keep in shop.columns.items() if keep]
    head = ["ticket", "date", "customer", "technician", *cols, "repairs", "minutes"]
    head += ["callback"] if style != "rows" else []
    tickets = {}
    with open(to, "w", newline="") as f:
        out = csv.writer(f)
        out.writerow(head)
        for number, v in enumerate(visits):
            t = f"{shop.name[:2].upper()}{10000 + number}"
            row = {
                "ticket": t,
                "date": (START + datetime.timedelta(days=v["day"])).isoformat(),
                "customer": f"K{cust[v['i']]}",
                "technician": "AB"[v["tech"]],
                "repairs": "; ".join(r for r, d in zip(shop.repairs, v["done"], strict=False) if d),
                "minutes": v["minutes"],
                "callback": "yes" if v["back"] else "no",
            }
            for c in cols:
                if c in v["facts"]:
                    vals, x, known = v["facts"][c]
                    row[c] = vals[x[v["a"]]] if known[v["a"]] else ""
                else:
                    x = (v["told"].get(c) if c in v["told"] else v["found"][c])[v["a"]]
                    row[c] = w.outs[c][x] if x >= 0 else ""
            out.writerow([row[h] for h in head])
            name = [*w.modes, UNLISTED]
            tickets[t] = {
                "visit": v["n"],
                "main": w.mains[main[v["i"]]],
                "faults": [m for m, x in zip(name, v["there"], strict=False) if x],
                "left": [m for m, x in zip(name, v["left"], strict=False) if x],
                "wrong_part": v["wrong"],
                "back": v["back"],
            }
    with open(truth, "w") as f:
        json.dump(truth_of(shop, jobs, seed, visits, tickets), f)
    return len(visits)


def truth_of(shop, jobs, seed, visits, tickets):
    w, f = shop.true, shop.file
    alone_t, alone_f = w.alone(), f.alone()
    sums = {}
    for n in w.obs:
        ok = [1 - float(a[n][-1, 0]) for a in (alone_t, alone_f)]
        by = {m: [1 - float(a[n][i, 0]) for a in (alone_t, alone_f)] for i, m in enumerate(w.mains[:-1])}
        sums[n] = {"false_alarm": ok, "detection": {m: v for m, v in by.items() if v[1] > ok[1] + 0.1}}
    first = [v for v in visits if v["n"] == 1]
    needed = np.array([[(shop.fixes[r] & v["there"]).any() for r in range(len(shop.repairs))] for v in first])
    done = np.array([v["done"] for v in first])
    return {
        "shop": shop.name,
        "says": shop.s["says"],
        "synthetic": True,
        "jobs": jobs,
        "seed": seed,
        "kl_truth_file": shop.kl,
        "shares": dict(zip(w.mains, map(float, w.share), strict=False)),
        "shares_file": dict(zip(f.mains, map(float, f.share), strict=False)),
        "numbers": w.numbers(),
        "numbers_file": f.numbers(),
        "moved": shop.touched,
        "summary [truth, file]": sums,
        "alone": {
            n: {m: dict(zip(w.outs[n], map(float, alone_t[n][i]), strict=False)) for i, m in enumerate(w.mains)}
            for n in w.obs
        },
        "habits": {
            "written_when_odd": shop.r_yes,
            "written_when_normal": shop.r_no,
            "good_check_written": shop.s["good"],
            "fact_written": shop.r_fact,
            "columns": shop.columns,
            "checks_a_job_less_cap": shop.s["checks"],
            "wrong_part": shop.s["wrong"],
            "hunch": shop.s["hunch"],
            "precaution": shop.extra,
            "returns": shop.s["rows"],
            "back_if_wrong": 0.8,
            "back_if_right": 0.03,
            "window_days": WINDOW,
            "drawn_done_if_needed": float(done[needed].mean()),
            "drawn_done_anyway": float(done[~needed].mean()),
        },
        "tickets": tickets,
    }
