// What the pages' scripts take for granted and the compiler cannot know: that a selector finds what the template has,
// where an event began, and which events of our own there are.
interface ParentNode {
  querySelector(selectors: string): any;
  querySelectorAll(selectors: string): NodeListOf<any>;
}
interface Document { getElementById(elementId: string): any; readonly activeElement: any; }
interface Element { closest(selectors: string): any; }
interface HTMLElement { addEventListener(type: `lw:${string}`, listener: (event: CustomEvent) => void): void; }
interface EventTarget { closest?: any; dataset?: any; id?: any; value?: any; elements?: any; matches?: any; files?: any; }
