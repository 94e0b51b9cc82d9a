// Marks the page as scripted, so that charts replace the drawn figure on screen.
document.documentElement.classList.add("scripted");
// What a link leads to is opened when it is folded.
(() => {
  const unfold = () => {
    const place = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (place instanceof HTMLDetailsElement) place.open = true;
  };
  document.addEventListener("DOMContentLoaded", unfold);
  window.addEventListener("hashchange", unfold);
})();
