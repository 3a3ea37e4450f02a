// On a narrow screen a long strip begins at today, not in October.
const toToday = () => {
  for (const frame of document.querySelectorAll(".strip-scroll")) {
    const today = frame.querySelector("path.today");
    if (!today || frame.scrollWidth <= frame.clientWidth) continue;
    const offset = today.getBoundingClientRect().left - frame.getBoundingClientRect().left;
    frame.scrollLeft += offset - frame.clientWidth * 0.7;
  }
};
toToday();
document.body.addEventListener("htmx:afterSettle", toToday);
