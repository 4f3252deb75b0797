// Texts that stand beside the rules of the program, taken into the page when it is built.
declare module "*.txt" {
  const text: string;
  export default text;
}
