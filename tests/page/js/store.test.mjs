/** What the page shows between a move and its proof: nothing is called proved that has not been judged as it lies. */

import assert from "node:assert/strict";
import test from "node:test";

globalThis.addEventListener ??= () => undefined;
const { Store } = await import("../../../nesting/page/static/store.js");

/** A store with one lay that was proved as it lay after its third move. */
function proved() {
  const store = new Store();
  const piece = { id: "a", x: 0, y: 0, turn: 0, flipped: false, kept: false };
  store.docs.lay = { cloth: "main", move: 3, judged: { of: 3, ok: true, failures: [], lay_length: 900, buy_length: 900 }, sections: [{ pieces: [piece] }] };
  return store;
}

test("a moved lay is being judged until the proof of this very move has come", () => {
  const store = proved();
  store.hear({ event: "moved", move: 4, cloth: "main", pieces: [{ id: "a", x: 50 }] });
  assert.equal(store.docs.lay.judged.ok, null);
  assert.equal(store.docs.lay.sections[0].pieces[0].x, 50);
  store.hear({ event: "judged", cloth: "main", judged: { of: 3, ok: true, failures: [] } });
  assert.equal(store.docs.lay.judged.ok, null, "the proof of the lay before");
  store.hear({ event: "judged", cloth: "main", judged: { of: 4, ok: false, failures: [{ code: "overlap" }] } });
  assert.equal(store.docs.lay.judged.ok, false);
});

test("the reply to a move may come before its event, or after its proof", () => {
  const store = proved();
  store.unjudged(4);
  assert.equal(store.docs.lay.judged.ok, null);
  store.hear({ event: "moved", move: 4, cloth: "main", pieces: [] });
  store.hear({ event: "judged", cloth: "main", judged: { of: 4, ok: true, failures: [] } });
  store.unjudged(4);
  assert.equal(store.docs.lay.judged.ok, true);
});
