// The moving picture: start it, watch how far it is, give it up, fetch it when it is there.

const $ = (id) => document.getElementById(id);
const address = (name) => `${location.pathname.replace(/play$/, "moving/")}${name}${location.search}`;
let turn = 0, begun = null; // each start is a new turn: what is told of the one before is late

const say = (text) => { $("moving-told").textContent = text; };

function show(state) {
  const busy = ["waiting", "running"].includes(state.state), words = $("moving").dataset;
  $("moving-share").hidden = $("moving-cancel").hidden = !busy;
  $("moving-make").disabled = busy;
  if (state.share !== null && state.share !== undefined) $("moving-share").value = state.share;
  else $("moving-share").removeAttribute("value");
  say(busy ? `${state.told || words.waiting} ${state.share ? `${Math.round(100 * state.share)} %` : ""}`.trim()
    : state.state === "lost" ? words.lost : state.state === "cancelled" ? words.cancelled : state.state === "done" ? words.ready : state.error ?? "");
  return busy;
}

async function ask(name, method = "GET") {
  try {
    const answer = await fetch(address(name), { method }), told = await answer.json();
    return answer.ok ? told : { state: "failed", error: (told.problems ?? [""])[0] };
  } catch { return { state: "lost" }; }
}

async function watch(state, mine) {
  while (show(state)) {
    await new Promise((next) => setTimeout(next, 400));
    const next = await ask("state.json");
    if (mine !== turn) return;
    if (next.state === "lost") say($("moving").dataset.lost); // it may still be made
    else state = next;
  }
  if (state.state === "done") location.assign(address("picture.gif"));
}

document.addEventListener("click", async (event) => {
  const button = event.target.closest?.("#moving-make, #moving-cancel");
  if (!button) return;
  if (button.id === "moving-cancel") {
    const mine = turn;
    await begun; // what is not known yet cannot be given up
    const told = await ask("cancel", "POST");
    if (mine !== turn) return;
    if (told.state === "lost") return say($("moving").dataset.lost);
    turn += 1;
    return watch(told, turn);
  }
  const mine = ++turn;
  show({ state: "waiting", share: null });
  begun = ask("start", "POST");
  const state = await begun;
  if (mine === turn) watch(state, mine);
});
