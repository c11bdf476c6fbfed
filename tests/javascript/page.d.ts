// What the page holds beside the scripts of the package. Bokeh brings no types of its own.

declare const Bokeh: any;

interface Window {
  Bokeh: any;
  balancekitAsked: any;
  balancekitBokeh: any;
  balancekitCharts: any;
  balancekitKeys: any;
  balancekitListens: boolean;
  balancekitNeeded: any;
  balancekitOutbox: any;
  balancekitPassesBy: boolean;
}

// Every element that the scripts look for is of HTML: a selector that names no tag finds these too.
interface Element {
  cells: HTMLCollectionOf<HTMLTableCellElement>;
  checked: boolean;
  dataset: DOMStringMap;
  defaultValue: string;
  focus(options?: FocusOptions): void;
  style: CSSStyleDeclaration;
  type: string;
  value: any;
}
