// A number that the browser writes itself: a button that answers where it is from, like those that the server writes (see `page.js`).

// `about`: title, answer (markup of the server with places that are filled in when it is asked), and the word for asking.
export function figure({ title, said, asks }, value, interval = "", source = "") {
  const button = document.createElement("button");
  Object.assign(button, { type: "button", className: "num", ariaLabel: `${title}: ${value}${interval ? `, ${interval}` : ""}. ${asks}`, ariaHasPopup: "dialog" });
  Object.assign(button.dataset, { said, source });
  button.append(Object.assign(document.createElement("b"), { className: "value", textContent: value }));
  if (interval) button.append(" ", Object.assign(document.createElement("span"), { className: "interval", textContent: interval }));
  return button;
}
