// Marks the page as scripted, so that charts replace the drawn figure on screen.
document.documentElement.classList.add("scripted");
