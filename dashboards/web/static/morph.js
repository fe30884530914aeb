// Brings a part of the page up to date without disturbing what a person is writing in it.

// named returns the name of what can be unfolded: its alarm and the heading it stands under.
function named(details) {
  let h = details.previousElementSibling;
  while (h && !/^h\d$/.test(h.localName)) h = h.previousElementSibling;
  return `${details.closest("[data-alarm]")?.dataset.alarm ?? ""} ${h?.textContent ?? ""}`;
}

// unfold returns an element with the inside html in which the same is unfolded as in part.
export function unfold(part, html) {
  const next = document.createElement(part.localName);
  next.innerHTML = html;
  const open = new Set([...part.querySelectorAll("details[open]")].map(named));
  for (const d of next.querySelectorAll("details")) if (open.has(named(d))) d.open = true;
  return next;
}

// morph makes the inside of part that of an element.
export function morph(part, next) {
  children(part, next);
}

// writing reports whether somebody is at work in a form, has begun one, or folds something.
export function writing(node) {
  const at = document.activeElement;
  if (at?.localName === "summary" && node.nodeType === Node.ELEMENT_NODE && node.contains(at)) return true;
  return node.nodeType === Node.ELEMENT_NODE && [...(node.matches("form") ? [node] : node.querySelectorAll("form"))].some(
    (form) => form.contains(document.activeElement) || [...form.elements].some((e) => e.localName === "input" && e.value !== e.defaultValue),
  );
}

// same tells whether two nodes stand for the same thing: alarms by name, others by kind.
function same(a, b) {
  return a.nodeName === b.nodeName && a.dataset?.alarm === b.dataset?.alarm && a.dataset?.form === b.dataset?.form;
}

function children(old, next) {
  let at = old.firstChild;
  for (const wanted of [...next.childNodes]) {
    let found = at;
    while (found && !same(found, wanted)) found = found.nextSibling;
    if (!found) {
      old.insertBefore(wanted, at);
      continue;
    }
    while (at !== found) at = drop(at);
    at = found.nextSibling;
    update(found, wanted);
  }
  while (at) at = drop(at);
}

// drop removes a node in which nobody writes, and gives the next one.
function drop(node) {
  const next = node.nextSibling;
  if (!writing(node)) node.remove();
  return next;
}

function update(old, next) {
  if (old.isEqualNode(next)) return;
  if (old.nodeType !== Node.ELEMENT_NODE) {
    old.nodeValue = next.nodeValue;
    return;
  }
  if (!writing(old)) {
    old.replaceWith(next);
    return;
  }
  if (old.localName === "form") return; // stays as it is until it is sent
  for (const { name } of [...old.attributes]) if (!next.hasAttribute(name)) old.removeAttribute(name);
  for (const { name, value } of next.attributes) old.setAttribute(name, value);
  children(old, next);
}
