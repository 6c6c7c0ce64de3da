// Labels over marks, staggered: none covers another, nor stands in the line to another, and none is lost. From the right
// to the left, each in the lowest row that is free. draw/lanes.py has the same for paper.
const pen = document.createElement("canvas").getContext("2d");
export function widthOf(text, font = '15px "Linkwright Sans", sans-serif') { pen.font = font; return pen.measureText(text).width; }

export function flags(marks, left, right) {
  const placed = [], covers = (flag, x) => flag.left - 2 < x && x < flag.left + flag.wide + 2;
  const free = (flag) => {
    if (placed.some((other) => other.row === flag.row && flag.left < other.left + other.wide + 8 && other.left < flag.left + flag.wide + 8)) return false;
    if (flag.row > placed.reduce((most, other) => Math.max(most, other.row), -1)) return true;
    return !placed.some((other) => (other.row < flag.row && covers(other, flag.x)) || (other.row > flag.row && covers(flag, other.x)));
  };
  for (const mark of [...marks].sort((a, b) => b.x - a.x)) {
    const wide = widthOf(mark.label), flag = { ...mark, wide, left: Math.max(left, Math.min(mark.x - 3, right - wide)), row: 0 };
    while (!free(flag)) flag.row += 1;
    placed.push(flag);
  }
  return placed;
}
export const rowsOf = (placed) => placed.reduce((most, flag) => Math.max(most, flag.row + 1), 0);
