// One voice at a time: every play button shares one audio element.
"use strict";
const player = new Audio();
let pressed = null;

function rest() {
  if (pressed) {
    pressed.setAttribute("aria-pressed", "false");
    pressed.querySelector(".mark").textContent = "▶";
  }
  pressed = null;
}

function sound(button) {
  const again = pressed === button;
  player.pause();
  rest();
  if (again) return;
  pressed = button;
  button.setAttribute("aria-pressed", "true");
  button.querySelector(".mark").textContent = "■";
  player.src = button.dataset.sound;
  player.play().catch(() => {
    rest();
    button.disabled = true;
    button.querySelector(".mark").textContent = "cannot be played";
  });
}

player.addEventListener("ended", rest);
for (const button of document.querySelectorAll("button.play")) button.addEventListener("click", () => sound(button));
