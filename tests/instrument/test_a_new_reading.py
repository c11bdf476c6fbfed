"""What the contributors' guide promises: a new reading in the register is all that is needed.

The register is read when the modules are imported, so each test runs in a fresh Python.
"""

from __future__ import annotations

import subprocess
import sys

import pytest

ADD = """
import balancekit.calculation.quantities as register
register.QUANTITIES["let_off_mm"] = register.Quantity(
    "let_off_mm", "Let-off", "mm", "mm", 0, 10, 1, 3, 1, 0.2,
    "Distance from hammer to string where the hammer falls free.", register.COMMON,
)
register.READING_COLUMNS += ("let_off_mm",)
register.OPTIONAL_COLUMNS |= {"let_off_mm"}
"""

IMPORT = """
from balancekit.instrument.bring_in.import_readings import understand
for heading in ("let_off_mm", "Let-off (mm)", "let off"):
    found = understand(f"key,down weight,{heading}\\n1,51,1.5\\n".encode(), "readings.csv")
    assert found.questions == () and list(found.readings["let_off_mm"]) == [1.5], heading
asked = understand(b"key,let-off (in)\\n1,0.06\\n", "readings.csv")
assert "1 in is 25.4 mm" in asked.questions[0].text
answers = {asked.questions[0].id: "convert"}
found = understand(b"key,let-off (in)\\n1,0.06\\n", "readings.csv", answers=answers)
assert abs(found.readings["let_off_mm"][0] - 0.06 * 25.4) < 1e-12
"""

REFUSE = """
from balancekit.instrument.bring_in.import_readings import understand
from balancekit.instrument.doubts import IMPOSSIBLE
rows = "".join(f"{key},1.5\\n" for key in range(1, 21))
found = understand(f"key,let-off\\n{rows}21,11\\n22,-1\\n".encode(), "readings.csv")
open_ = [(d.key, d.quantity) for d in found.doubts if d.kind == IMPOSSIBLE]
assert open_ == [(21, "let_off_mm"), (22, "let_off_mm")], open_
"""

SCHEMA = """
from balancekit.instrument.tables import TABLES, table_schema
(field,) = [f for f in table_schema(TABLES["readings"])["fields"] if f["name"] == "let_off_mm"]
assert field["title"] == "Let-off (mm)" and field["unit"] == "mm"
assert field["constraints"] == {"minimum": 0, "maximum": 10}
"""

GRID_AND_GLOSSARY = """
from balancekit.instrument.entry import entry_columns
from balancekit.lesson.glossary import find_words
assert [c["heading"] for c in entry_columns() if c["name"] == "let_off_mm"] == ["Let-off (mm)"]
assert list(find_words("let-off").loc["let_off_mm"]) == [
    "Let-off", "Distance from hammer to string where the hammer falls free.", "mm", "measured",
    "1 to 3 mm (common practice, no source)",
]
"""

KEEP = """
import sys
from pathlib import Path
import balancekit
from balancekit.instrument.entry import set_cells, entry_table
from balancekit.instrument.in_hand import demo_in_hand
from balancekit.instrument.store import open_folder, save_folder
from balancekit.instrument.table import reading_table
before = open_folder(demo_in_hand().path)[0]
cell = {"row": "7-0", "column": "let_off_mm", "value": 1.75}
after = set_cells(before, 0, [cell])
save_folder(after, Path(sys.argv[1]) / "grand", None)
again = open_folder(Path(sys.argv[1]) / "grand")[0]
assert entry_table(again, 0).loc["7-0", "let_off_mm"] == 1.75
table = reading_table(again)
assert table.loc[7, "let_off_mm"] == 1.75 and abs(table.loc[7, "let_off_u_mm"] - 0.2) < 1e-12
assert table["missing"].equals(reading_table(before)["missing"])
"""

FOLLOWS = {
    "import": IMPORT,
    "limits": REFUSE,
    "schema": SCHEMA,
    "grid and glossary": GRID_AND_GLOSSARY,
    "saved, opened and averaged": KEEP,
}


@pytest.mark.slow
@pytest.mark.parametrize("what", FOLLOWS)
def test_a_new_reading_is_followed_by(what, tmp_path):
    script = ADD + FOLLOWS[what]
    command = [sys.executable, "-W", "error", "-c", script, str(tmp_path)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
