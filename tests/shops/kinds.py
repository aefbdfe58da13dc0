"""Invented shops, each with a truth and habits of its own. They know nothing of the program under test.

A shop's truth hangs on its name alone; a seed draws its jobs (`visits.py`) and `writing.py` writes them as a log. Everything here
is synthetic.
"""

import copy
import zlib

import numpy as np

from shops.world import NOTHING, UNLISTED, World, kl, moved, read

WINDOW = 30

SYM_OFTEN = {"dry_time": (0.97, 0.9), "heat": (0.97, 0.9)}  # (written when odd, when normal), unless the shop says

# factors on main-cause shares (a part's name: all its modes), before scaling so that KL(truth || file) = `kl`
SHOPS = {
    "as_file": {
        "says": "exactly as the file says",
        "kl": 0,
        "by": {},
        "sd": 0,
        "some": 0,
        "sd_facts": 0,
        "no": 0.5,
        "rows": "column",
    },
    "quay_row": {
        "says": "flats with long shared ducts: vent up, coils and igniters down; young machines",
        "by": {
            "duct": 2.0,
            "duct.too_long": 3,
            "duct.shared": 3,
            "hood": 1.8,
            "transition": 1.5,
            "coils": 0.4,
            "igniter": 0.4,
            "drum_seals": 0.4,
            "rollers": 0.5,
            "lint_path": 0.6,
        },
        "kl": 0.17,
        "no": 0.08,
        "rows": "column",
        "seed_facts": {"age": "to_3"},
    },
    "mill_street": {
        "says": "old machines: coils, igniter, seals and rollers up, ducts down; 'no' written always",
        "by": {"coils": 2.5, "igniter": 1.8, "drum_seals": 2.2, "rollers": 2, "duct": 0.4, "timer": 1.5, "board": 0.5},
        "kl": 0.19,
        "no": 1.0,
        "yes": 1.0,
        "rows": "rows",
        "drop_facts": 3,
    },
    "hilltop": {
        "says": "propane country: supply, burner, sensor and hood nests up; ducts short",
        "by": {
            "gas_supply": 3,
            "burner": 3,
            "hood": 2.5,
            "flame_sensor": 2,
            "gas_valve": 2.5,
            "duct": 0.45,
            "coils": 0.8,
            "moisture_sensor": 0.5,
        },
        "kl": 0.18,
        "no": 0.4,
        "rows": "column",
        "seed_facts": {"fuel": "propane"},
        "jitter_success": True,
    },
    "garden_flats": {
        "says": "rented laundry rooms: lint screen, lint path, overload up; returns as rows; good results often unwritten",
        "by": {
            "lint_screen": 2.4,
            "lint_path": 2.2,
            "use": 2.2,
            "transition": 1.6,
            "duct.partly_blocked": 0.5,
            "washer": 0.4,
            "coils": 0.55,
            "moisture_sensor": 1.5,
        },
        "kl": 0.16,
        "no": 0.3,
        "rows": "rows",
        "good": 0.6,
        "drop_facts": 4,
    },
    "warranty_post": {
        "says": "warranty calls on new machines: boards, thermistor, sensor bars, nothing wrong up",
        "by": {
            "board": 3,
            "thermistor": 3,
            "moisture_sensor": 1.9,
            "nothing_wrong": 3,
            "use": 2,
            "transition": 1.6,
            "duct.nearly_blocked": 0.35,
            "drum_seals": 0.35,
            "lint_path": 0.35,
            "coils": 0.6,
            "timer": 0.35,
        },
        "kl": 0.20,
        "no": 0.7,
        "rows": "column",
        "seed_facts": {"age": "to_3", "control": "board"},
        "hunch": 1.0,
    },
    "river_bend": {
        "says": "few checks, a file all shuffled: every cause times its own random factor",
        "by": "random",
        "kl": 0.2,
        "no": 0.15,
        "rows": "both",
        "checks": (1.3, 1.9),
        "sd": 0.4,
        "some": 0.8,
        "drop_cols": 8,
    },
    "thin_book": {
        "says": "mild difference, thin writing, the most wrong parts with one technician",
        "by": {"coils": 1.9, "duct": 0.6, "igniter": 1.5, "hood": 1.4, "washer": 2, "moisture_sensor": 0.5},
        "kl": 0.10,
        "no": 0.1,
        "yes": 0.7,
        "rows": "column",
        "wrong": (0.04, 0.16),
        "good": 0.8,
        "drop_facts": 5,
        "drop_cols": 6,
    },
}


class Shop:
    """Truth and habits of a shop."""

    def __init__(self, name):
        self.name, self.s = (
            name,
            {
                "sd": 0.3,
                "some": 0.6,
                "sd_facts": 0.35,
                "checks": (1.8, 3.0),
                "wrong": (0.10, 0.10),
                "yes": 0.93,
                "good": 1.0,
                "hunch": 0.0,
                "drop_facts": 1,
                "drop_cols": 2,
                **SHOPS[name],
            },
        )
        rng = self.rng = np.random.default_rng(zlib.crc32(name.encode()))
        self.file = World(read())
        k = copy.deepcopy(self.file.k)
        self.touched = []
        if self.s["some"]:
            k, self.touched = moved(k, rng, self.s["sd"], self.s["some"])
        share = self._shares(rng)
        for m, v in zip(self.file.mains, share, strict=False):
            if m == UNLISTED:
                k["other_causes"]["unlisted"] = 100 * v
            elif m == NOTHING:
                k["other_causes"]["nothing_wrong"] = 100 * v
            else:
                c, x = m.split(".")
                k["component"][c]["modes"][x]["share"] = 100 * v
        if self.s["sd_facts"]:
            for kind in ("context", "equipment"):
                for n, f in k[kind].items():
                    u = {v: p * np.exp(rng.normal(0, self.s["sd_facts"])) for v, p in f["usual"].items()}
                    more = self.s.get("seed_facts", {}).get(n)
                    if more:
                        u[more] *= 2.2
                    f["usual"] = {v: float(p / sum(u.values())) for v, p in u.items()}
        if self.s.get("jitter_success"):
            for r in k["repair"].values():
                p = r.get("success", 0.97)
                r["success"] = float(1 / (1 + np.exp(-(np.log(p / (1 - p)) + rng.normal(0, 0.4)))))
        self.true = World(k)
        self.kl = kl(self.true.share, self.file.share)
        self._habits(rng)

    def _shares(self, rng):
        f = self.file
        z = np.zeros(len(f.mains))
        if not self.s["kl"]:
            return f.share
        if self.s["by"] == "random":
            z = rng.uniform(-1, 1, len(z))
        else:
            for who, x in self.s["by"].items():  # a mode named after its part overrides the part
                for m in f.under(who):
                    z[f.at[m]] = np.log(x)
            z = z + rng.normal(0, 0.15, len(z))
        lo, hi, best = 0.0, 12.0, f.share
        for _ in range(60):
            t = (lo + hi) / 2
            p = self._clipped(z * t)
            lo, hi = (t, hi) if kl(p, f.share) < self.s["kl"] else (lo, t)
            best = p
        return best

    def _clipped(self, z):
        """Shares whose factor to the file's stays within 3 either way after scaling."""
        f, c = self.file.share, 0.0
        for _ in range(200):
            p = f * np.exp(np.clip(z - c, -np.log(3), np.log(3)))
            if abs(np.log(p.sum())) < 1e-12:
                break
            c += np.log(p.sum())
        return p / p.sum()

    def _habits(self, rng):
        w, s = self.true, self.s
        plain = self.name == "as_file"
        self.r_yes, self.r_no = {}, {}
        for n in w.k["symptom"]:
            base = SYM_OFTEN.get(n)
            if s["no"] in (0.08, 1.0):  # written by rule, the same for every column
                self.r_yes[n], self.r_no[n] = s["yes"], s["no"]
            else:
                j = 1 if plain else float(np.exp(rng.normal(0, 0.25)))
                self.r_yes[n] = min(1, s["yes"])
                self.r_no[n] = min(1, s["no"] * j)
            if base and s["no"] != 1.0:
                self.r_yes[n], self.r_no[n] = base
        self._columns(rng, plain)
        self.r_fact = {n: float(rng.uniform(0.5, 0.95)) for n in (*w.k["context"], *w.k["equipment"])}
        self._technicians(rng, plain)

    def _columns(self, rng, plain):
        w, s = self.true, self.s
        keep = [n for n in w.k["symptom"] if n not in SYM_OFTEN]
        self.columns = dict.fromkeys((*w.k["context"], *w.k["equipment"], *w.k["symptom"], *w.k["check"]), True)
        self.columns["verification_run"] = False  # only checks before a repair are written
        if not plain:
            for n in rng.choice([*w.k["context"]], s["drop_facts"], replace=False):
                self.columns[str(n)] = False
            for n in rng.choice(keep, s["drop_cols"] // 2, replace=False):
                self.columns[str(n)] = False
            rare = [
                c
                for c in w.k["check"]
                if c
                in (
                    "plate_look",
                    "over_back_look",
                    "other_appliances",
                    "outlet_voltage",
                    "manifold_pressure",
                    "level_check",
                    "spun_load_weight",
                    "motor_fuse_continuity",
                    "hood_air_speed",
                )
            ]
            for n in rng.choice(rare, min(len(rare), s["drop_cols"] - s["drop_cols"] // 2), replace=False):
                self.columns[str(n)] = False

    def _technicians(self, rng, plain):
        w = self.true
        self.checks = [c for c in w.k["check"] if self.columns[c]]
        self.taste = np.exp(rng.normal(0, 0.6, (2, len(self.checks))))  # two technicians, their favourite checks
        for j, c in enumerate(self.checks):
            if w.k["check"][c].get("qualified"):
                self.taste[:, j] *= (0.15, 0.6)
        self.repairs = list(w.k["repair"])
        self.fixes = np.zeros((len(self.repairs), len(w.modes) + 1), bool)
        for i, r in enumerate(self.repairs):
            for target in w.k["repair"][r]["fixes"]:
                for m in w.under(target):
                    self.fixes[i, w.at[m]] = True
        self.like = np.array([1 / (w.k["repair"][r].get("cost", 0) + 25) ** 1.5 for r in self.repairs])
        if not plain:
            self.like = self.like * np.exp(rng.normal(0, 0.4, len(self.like)))
        self.success = np.array([w.k["repair"][r].get("success", 0.97) for r in self.repairs])
        self.extra = 0.05 if plain else float(rng.uniform(0.03, 0.12))  # a part changed as a precaution
        self.companion_done = 0.8
        # what the technicians believe: between the file and the shop's own truth
        self.believe = np.sqrt(self.file.share * w.share)
        self.alone = self.file.alone()
