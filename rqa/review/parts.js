// A link into a folded part opens it; with the annex printed every part is open.
(() => {
  const choice = document.getElementById("with-annex");
  const all = () => document.querySelectorAll("details.part, details.list").forEach(part => { part.open = true; });
  const open = () => {
    const there = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (!there) return;
    if (there === choice) return all();
    for (let up = there.closest("details"); up; up = up.parentElement.closest("details")) up.open = true;
    there.scrollIntoView();
  };
  addEventListener("hashchange", open);
  // The address does not change where the same link is followed again.
  document.addEventListener("click", e => { if (e.target.closest('a[href^="#"]')) setTimeout(open); });
  addEventListener("beforeprint", () => { if (choice.checked) all(); });
  open();
})();
