// All pictures, found by words and status; each opens in the viewer.
const entries = JSON.parse(document.getElementById("data").textContent);
const items = [...document.querySelectorAll("#sheet li")];
const search = document.getElementById("search");
let filter = "";

// Pictures are decoded when they come into sight: two hundred of them must not all be decoded at once.
const sight = new IntersectionObserver((seen) => {
  for (const one of seen) {
    if (!one.isIntersecting) continue;
    const views = entries[one.target.closest("button").dataset.index].views;
    one.target.src = views.new || views.approved || "";
    sight.unobserve(one.target);
  }
}, { rootMargin: "300px" });
for (const image of document.querySelectorAll(".thumb")) sight.observe(image);

function sift() {
  const words = search.value.toLowerCase().split(/\s+/).filter(Boolean);
  let left = 0;
  for (const item of items) {
    const fits = (!filter || item.dataset.status === filter) && words.every((w) => item.dataset.words.includes(w));
    item.hidden = !fits;
    left += fits;
  }
  document.getElementById("empty").hidden = left > 0;
}
search.addEventListener("input", sift);
for (const chip of document.querySelectorAll("[data-filter]")) {
  chip.addEventListener("click", () => {
    filter = chip.dataset.filter;
    for (const other of document.querySelectorAll("[data-filter]")) {
      other.setAttribute("aria-pressed", String(other === chip));
    }
    sift();
  });
}
document.getElementById("light").addEventListener("click", () => {
  const root = document.documentElement;
  const dark = root.dataset.light ? root.dataset.light === "no" : matchMedia("(prefers-color-scheme: dark)").matches;
  root.dataset.light = dark ? "yes" : "no";
});

const show = makeViewer(entries, () =>
  items.filter((item) => !item.hidden).map((item) => Number(item.querySelector("button").dataset.index)));
document.getElementById("sheet").addEventListener("click", (event) => {
  const card = event.target.closest(".card");
  if (card) show(Number(card.dataset.index));
});
addEventListener("keydown", (event) => {
  if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.target === search || document.getElementById("viewer").open) return;
  event.preventDefault();
  search.focus();
});
