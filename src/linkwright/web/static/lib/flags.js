// Labels over marks, staggered: none covers another, nor stands in the line to another, and none is lost. From the right
// to the left, each in the lowest row that is free. draw/lanes.py has the same for paper.
const pen = document.createElement("canvas").getContext("2d");
export function widthOf(text, font = '15px "Linkwright Sans", sans-serif') { pen.font = font; return pen.measureText(text).width; }

export function flags(marks, left, right) {
  const placed = [], covers = (one, x) => one.left - 2 < x && x < one.left + one.wide + 2;
  const free = (one) => {
    if (placed.some((other) => other.row === one.row && one.left < other.left + other.wide + 8 && other.left < one.left + one.wide + 8)) return false;
    if (one.row > placed.reduce((most, other) => Math.max(most, other.row), -1)) return true;
    return !placed.some((other) => (other.row < one.row && covers(other, one.x)) || (other.row > one.row && covers(one, other.x)));
  };
  for (const mark of [...marks].sort((a, b) => b.x - a.x)) {
    const wide = widthOf(mark.label), one = { ...mark, wide, left: Math.max(left, Math.min(mark.x - 3, right - wide)), row: 0 };
    while (!free(one)) one.row += 1;
    placed.push(one);
  }
  return placed;
}
export const rowsOf = (placed) => placed.reduce((most, one) => Math.max(most, one.row + 1), 0);
