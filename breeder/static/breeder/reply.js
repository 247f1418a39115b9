// Leads whoever sent a form to what the book says to it, next to the button that was pressed.

export function showReply() {
  const reply = document.getElementById("reply");
  if (!reply) return false;
  for (let folded = reply.closest("details"); folded; folded = folded.parentElement.closest("details")) folded.open = true;
  reply.scrollIntoView({ block: "center" });
  reply.focus({ preventScroll: true });
  return true;
}

showReply();
document.addEventListener("htmx:afterSettle", showReply);
