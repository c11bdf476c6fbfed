"""The hammer panels in a real JupyterLab: a slider moves the curve, a clash is lifted, undo."""

from __future__ import annotations

import pytest
from lab import open_notebook, ran_well, run_all, wait_idle
from playwright.sync_api import expect

TARGET = """() => {
  for (const document of window.balancekitBokeh.documents) {
    for (const model of document._all_models.values()) {
      if (model.type !== 'Figure' || model.title?.text !== 'Target over the hammers') continue;
      const dashed = model.renderers.filter(
        part => part.glyph?.type === 'Line' && part.glyph.line_width === 3
          || part.glyph?.type === 'Line' && part.glyph.line_width?.value === 3);
      return Array.from(dashed[0].data_source.data.y);
    }
  }
}"""


pytestmark = pytest.mark.usefixtures("demo_in_hand")


def test_sliders_move_the_curve_and_a_clash_is_lifted(lab, page, seen):
    open_notebook(page, lab, "notebooks/05_hammer_mass.ipynb")
    run_all(page, timeout_s=180)
    wait_idle(page)
    before = page.evaluate(TARGET)
    assert len(before) == 88 and before == sorted(before, reverse=True)
    bend = page.get_by_role("slider", name="Bend allowed at a key").first
    bend.scroll_into_view_if_needed()
    bend.focus()
    page.keyboard.press("PageUp")
    moved = f"before => JSON.stringify(({TARGET})()) !== JSON.stringify(before)"
    page.wait_for_function(moved, arg=before)
    page.get_by_role("slider", name="Most that may be trimmed").first.focus()
    page.keyboard.press("Home")
    way = page.get_by_role("button", name="Do it: allow").first
    expect(way).to_be_visible()
    expect(page.get_by_text("These bounds cannot all hold").first).to_be_visible()
    assert page.evaluate(TARGET) == []
    way.click()
    page.wait_for_function(f"() => ({TARGET})().length === 88")
    expect(page.get_by_text("Saved in").first).to_be_visible()
    page.get_by_role("button", name="As found").first.click()
    expect(page.get_by_text("leave 87; 1 not weighed").first).to_be_visible()
    wait_idle(page)
    ran_well(page, seen)
