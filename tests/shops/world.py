"""A knowledge file read straight from TOML, and forward draws from it. Imports nothing of the program under test."""

import copy
import tomllib
from pathlib import Path

import numpy as np

FILE = Path(__file__).parents[2] / "model/faultodds/appliances/gas_dryer.toml"
NOTHING, UNLISTED = "nothing_wrong", "unlisted.present"


def read(path=FILE):
    with open(path, "rb") as f:
        return tomllib.load(f)


class World:
    """One set of numbers (the file's, or a shop's truth in the file's own shape)."""

    def __init__(self, k):
        self.k = k
        self.modes, self.parts = [], {}
        for c, comp in k["component"].items():
            self.parts[c] = [f"{c}.{m}" for m in comp["modes"]]
            self.modes += self.parts[c]
        self.mains = [*self.modes, UNLISTED, NOTHING]
        self.at = {m: i for i, m in enumerate(self.mains)}
        rec = {f"{c}.{m}": r for c, comp in k["component"].items() for m, r in comp["modes"].items()}
        self.rec = rec
        raw = [rec[m].get("share", 0.0) for m in self.modes]
        raw += [k["other_causes"]["unlisted"], k["other_causes"]["nothing_wrong"]]
        self.share = np.array(raw, float) / sum(raw)
        self.obs = {**k["symptom"], **k["check"]}
        self.outs = {n: list(o["outcomes"]) for n, o in self.obs.items()}
        self.order = self._order()

    def _order(self):
        done, mech = [], self.k["mechanism"]
        while len(done) < len(mech):
            for n, m in mech.items():
                if n not in done and all(c.split(".")[0] not in mech or c.split(".")[0] in done for c in m["causes"]):
                    done.append(n)
        return done

    def under(self, name):
        return self.parts.get(name, [UNLISTED if name == "unlisted" else name])

    # ---- what is told beside the faults
    def fact_table(self, name):
        """[main, value]"""
        k = self.k
        kind = k["context"].get(name) or k["equipment"][name]
        vals = list(kind["values"])
        t = np.tile([kind["usual"].get(v, 0.0) for v in vals], (len(self.mains), 1)).astype(float)
        for who, factors in kind.get("more_often", {}).items():
            for m in self.under(who):
                for v, f in factors.items():
                    t[self.at[m], vals.index(v)] *= f
        for v, lacking in kind.get("lacks", {}).items():
            for part in lacking:
                for m in self.under(part):
                    t[self.at[m], vals.index(v)] = 0.0
        return vals, t / t.sum(1, keepdims=True)

    # ---- the machine
    def draw_faults(self, main, rng):
        """present [n, mode+1] (last: unlisted): the main cause, and companions beside it."""
        n = len(main)
        there = np.zeros((n, len(self.modes) + 1), bool)
        base = self.k["other_causes"].get("companion", 0.003)
        own = np.array([self.rec[m].get("companion", base) for m in self.modes])
        chance = np.tile(own, (len(self.mains), 1))
        for m in self.modes:
            for other, p in self.rec[m].get("brings_on", {}).items():
                chance[self.at[m], self.at[other]] = p
        for ms in self.parts.values():
            cols = [self.at[m] for m in ms]
            u = rng.random(n)  # one draw a part: at most one of its modes
            cum = np.cumsum(chance[main][:, cols], 1)
            for j, c in enumerate(cols):
                lo = cum[:, j - 1] if j else 0.0
                there[:, c] = (u >= lo) & (u < cum[:, j])
            mine = np.isin(main, cols)
            there[np.ix_(mine, cols)] = False
        real = main <= len(self.modes)
        there[np.flatnonzero(real), main[real]] = True
        return there

    def states(self, there):
        """name -> bool array for every "part.mode" and "mechanism.state", and codes for parts and mechanisms."""
        n = len(there)
        on, code = (
            {m: there[:, i] for m, i in zip([*self.modes, UNLISTED], range(len(self.modes) + 1), strict=False)},
            {},
        )
        for c, ms in self.parts.items():
            v = np.zeros(n, int)
            for i, m in enumerate(ms, 1):
                v[on[m]] = i
            code[c] = (v, ["ok", *(m.split(".")[1] for m in ms)])
        for name in self.order:
            m = self.k["mechanism"][name]
            st = list(m["states"])
            v = np.zeros(n, int)
            for ref, eff in m["causes"].items():
                e = eff if isinstance(eff, int) else st.index(eff)
                a = on[ref]
                if m["rule"] == "adds_up":
                    v = v + a * e
                elif m["rule"] == "worst_of":
                    v = np.maximum(v, a * e)
                else:
                    v = np.where((v == 0) & a, e, v)
            v = np.minimum(v, len(st) - 1)
            code[name] = (v, st)
            for i, s in enumerate(st):
                on[f"{name}.{s}"] = v == i
        return on, code

    def _vec(self, w, outs):
        v = np.zeros(len(outs))
        if isinstance(w, dict):
            for o, p in w.items():
                v[outs.index(o)] = p
        else:
            v[1] = w
        v[0] = 1 - v[1:].sum()
        return v

    def _rows(self, o, code, n):
        outs = list(o["outcomes"])
        keys = [code[p] for p in o["depends_on"]]
        pick = np.zeros((n, len(outs)))
        combo = np.stack([v for v, _ in keys], 1)
        for row in np.unique(combo, axis=0):
            key = ", ".join(names[i] for i, (_, names) in zip(row, keys, strict=False))
            r = o["table"].get(key, o["table"].get("other"))
            pick[(combo == row).all(1)] = [r.get(x, 0.0) for x in outs]
        return pick / pick.sum(1, keepdims=True)

    def chances(self, name, on, code, n):
        """[n, outcome] exactly."""
        o, outs = self.obs[name], self.outs[name]
        if "depends_on" in o:
            return self._rows(o, code, n)
        below = np.tile(np.cumsum(self._vec(o.get("leak", 0.0), outs)), (n, 1))
        for ref, w in o.get("links", {}).items():
            below[on[ref]] *= np.cumsum(self._vec(w, outs))
        return np.diff(below, axis=1, prepend=0)

    def see(self, name, on, code, n, rng):
        """One drawn outcome each: every cause present throws its own die, the worst shows (or the table's row)."""
        o, outs = self.obs[name], self.outs[name]
        if "depends_on" in o:
            cum = np.cumsum(self._rows(o, code, n), 1)
            return np.minimum((rng.random(n)[:, None] > cum).sum(1), len(outs) - 1)
        worst = rng.choice(len(outs), n, p=self._vec(o.get("leak", 0.0), outs))
        for ref, w in o.get("links", {}).items():
            a = np.flatnonzero(on[ref])
            if len(a):
                worst[a] = np.maximum(worst[a], rng.choice(len(outs), len(a), p=self._vec(w, outs)))
        return worst

    def alone(self):
        """name -> [main, outcome]: chances on a machine with that main cause and nothing else; last row: sound."""
        there = np.zeros((len(self.mains), len(self.modes) + 1), bool)
        for i in range(len(self.modes) + 1):
            there[i, i] = True
        on, code = self.states(there)
        return {n: self.chances(n, on, code, len(self.mains)) for n in self.obs}

    def numbers(self):
        """Every number that a shop may move, by path, shares per 100."""
        out = {}
        for m in self.modes:
            c, x = m.split(".")
            out[f"component/{c}/modes/{x}/share"] = 100 * self.share[self.at[m]]
        out["other_causes/unlisted"] = 100 * self.share[self.at[UNLISTED]]
        out["other_causes/nothing_wrong"] = 100 * self.share[self.at[NOTHING]]

        def walk(path, v):
            if isinstance(v, dict):
                for a, b in v.items():
                    walk(f"{path}/{a}", b)
            else:
                out[path] = float(v)

        for kind in ("symptom", "check"):
            for n, o in self.k[kind].items():
                for part in ("leak", "links", "table"):
                    if part in o:
                        walk(f"{kind}/{n}/{part}", o[part])
        for kind in ("context", "equipment"):
            for n, o in self.k[kind].items():
                walk(f"{kind}/{n}/usual", o["usual"])
        for n, r in self.k["repair"].items():
            out[f"repair/{n}/success"] = r.get("success", 0.97)
        return out


def nudge(p, rng, sd):
    """A spread (dict with or without its normal outcome, or one number) moved by normal steps in log odds."""
    if not isinstance(p, dict):
        if not 0 < p < 1:
            return p
        z = np.log(p / (1 - p)) + rng.normal(0, sd)
        return float(1 / (1 + np.exp(-z)))
    total = sum(p.values())
    q = {a: v * np.exp(rng.normal(0, sd)) for a, v in p.items()}
    rest = max(0.0, 1 - total)  # what is left for outcomes not written
    s = sum(q.values()) + (rest if rest > 1e-9 else 0.0)
    return {a: float(v / s) for a, v in q.items()}


def moved(k, rng, sd, some):
    """A copy whose checks and symptoms are moved: each with chance `some`, all its numbers by `sd` in log odds."""
    k = copy.deepcopy(k)
    touched = []
    for kind in ("symptom", "check"):
        for n, o in k[kind].items():
            if rng.random() >= some:
                continue
            touched.append(n)
            if "leak" in o:
                o["leak"] = nudge(o["leak"], rng, sd)
            for part in ("links", "table"):
                for ref in o.get(part, {}):
                    o[part][ref] = nudge(o[part][ref], rng, sd)
    return k, touched


def kl(p, q):
    p, q = np.asarray(p, float), np.asarray(q, float)
    a = p > 0
    return float((p[a] * np.log(p[a] / q[a])).sum())
