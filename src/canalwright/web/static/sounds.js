// What the chair hears: tones made here, and a voice only where the browser has one of its own on this machine.

let audio = null;

export function wake() {
  audio ??= new (window.AudioContext ?? window.webkitAudioContext)();
  if (audio.state === "suspended") audio.resume();
}

export function tone(frequency, seconds = 0.09, loud = 0.2) {
  if (!audio || audio.state !== "running") return;
  const source = audio.createOscillator(), volume = audio.createGain(), now = audio.currentTime;
  source.frequency.value = frequency;
  volume.gain.setValueAtTime(loud, now);
  volume.gain.exponentialRampToValueAtTime(0.001, now + seconds);
  source.connect(volume).connect(audio.destination);
  source.start(now);
  source.stop(now + seconds);
}

export function say(text) {
  const speech = window.speechSynthesis;
  if (!speech) return;
  const language = document.documentElement.lang, voice = speech.getVoices().find((v) => v.localService && v.lang.startsWith(language));
  if (!voice) return; // a voice from elsewhere would send the words away
  speech.cancel();
  speech.speak(Object.assign(new SpeechSynthesisUtterance(text), { voice, lang: voice.lang, rate: 1.15 }));
}
