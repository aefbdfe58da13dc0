"""`calc`: the trade's sums, each with its units and its source."""

from __future__ import annotations

from faultodds_cli.calc import air as calc_air, gas as calc_gas, ohms as calc_ohms
from faultodds_cli.shared import options

app = options.new_app("The trade's sums. Numbers may carry units: 22ft, 84s, 72F, 11.2k, 5.8 m/s.")

app.command("duct")(calc_air.duct)
app.command("airflow")(calc_air.airflow)
app.command("drytime")(calc_air.drytime)
app.command("input")(calc_gas.input_command)
app.command("orifice")(calc_gas.orifice)
app.command("co")(calc_gas.co)
app.command("thermistor")(calc_ohms.thermistor)
app.command("winding")(calc_ohms.winding)
